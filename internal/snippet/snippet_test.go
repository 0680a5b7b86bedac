package snippet_test

import (
	"testing"
	"unicode/utf8"

	"gopkg.in/yaml.v3"

	"binwatchd/internal/snippet"
)

func TestWord(t *testing.T) {
	for word, want := range map[string]string{
		"bed-m": "bed-m", "glass/bed": "glass/bed", "/value": `"/value"`, "no": `"no"`, "12": `"12"`, "1e3": `"1e3"`, "": `""`,
		"a: b": `"a: b"`, "rack-{n}-t": `"rack-{n}-t"`, "Größe": `"Größe"`, "a\u2028b": `"a\u2028b"`, "a#": `"a#"`,
	} {
		if got := snippet.Word(word); got != want {
			t.Errorf("%q: got %s, want %s", word, got, want)
		}
	}
}

// Whatever the word, YAML gives it back, as a key and as a value.
func FuzzWordReadsBack(f *testing.F) {
	for _, s := range []string{"bed-m", "no", "~", "- x", "*a", "\u0085", "\x7f", "{n}", "'", `"`, "2026-05-04", "0x1f", "1_000", ".", "-", "y"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if !utf8.ValidString(s) {
			t.Skip("not UTF-8: no topic and no name is")
		}
		var got map[string]string
		text := snippet.Word(s) + ": " + snippet.Word(s) + " # " + snippet.Comment(s) + "\n"
		if err := yaml.Unmarshal([]byte(text), &got); err != nil || got[s] != s {
			t.Errorf("%q: got %q, %v", text, got, err)
		}
	})
}

func TestNumber(t *testing.T) {
	minusZero := 0.0
	minusZero *= -1
	for v, want := range map[float64]string{2850: "2850", 0.0625: "0.0625", 1e7: "10000000", minusZero: "0"} {
		if got := snippet.Number(v); got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
}
