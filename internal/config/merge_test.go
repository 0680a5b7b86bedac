package config_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"binwatchd/internal/config"
)

const added = "\n  # Heard: 19.5, 1 message.\n  new-t:\n    topic: new/t\n    measures: temperature # guess\n"

// Probes are added behind those that are there, and all else keeps its bytes.
func TestProbesAreAddedToADraft(t *testing.T) {
	const rest = "bins:\n  bed: {species: red, zones: {all: {aim: living, probes: [bed-t]}}}\n"
	for _, tt := range []struct{ name, text, behind string }{
		{"in the middle", "farm: X\nprobes: # all of them\n  bed-t: {topic: bed/t, measures: temperature}\n\n  # of the bed too\n\n# The bins.\n" + rest, "  # of the bed too\n"},
		{"at the end, without a line's end", rest + "probes:\n  bed-t:\n    topic: bed/t\n    measures: temperature", "measures: temperature\n"},
		{"at the end, with comments", rest + "probes:\n  bed-t:\n    topic: bed/t # here\n    # low\n\n# That is all.\n", "    # low\n"},
		{"four blanks", "probes:\n    bed-t:\n        topic: bed/t\n" + rest, "        topic: bed/t\n"},
		{"Windows", strings.ReplaceAll("probes:\n  bed-t: {topic: bed/t}\n"+rest, "\n", "\r\n"), "bed/t}\r\n"},
		{"a mapping in braces over lines", "probes:\n  bed-t: {\n  topic: bed/t\n}\n" + rest, "}\n"},
		{"none yet", rest + "# end\n", "# end\nprobes:\n"},
		{"an empty section", "probes:\n" + rest, "probes:\n"},
		{"an end mark", "probes:\n  bed-t: {topic: bed/t}\n...\n", "bed/t}\n"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "farm.yaml")
			if err := os.WriteFile(path, []byte(tt.text), 0o640); err != nil {
				t.Fatal(err)
			}
			d, err := config.ReadDraft(path)
			if err != nil {
				t.Fatal(err)
			}
			if d, err = d.Add("probes", added); err != nil {
				t.Fatal(err)
			}
			if err := d.Write(); err != nil {
				t.Fatal(err)
			}
			got, _ := os.ReadFile(path)
			i := strings.Index(string(got), tt.behind)
			if i < 0 {
				t.Fatalf("got %q, want it behind %q", got, tt.behind)
			}
			i += len(tt.behind)
			want := added
			if strings.Contains(tt.text, "    bed-t:\n        ") {
				want = strings.ReplaceAll(added, "\n  ", "\n    ")
			}
			if strings.Contains(tt.text, "\r\n") {
				want = strings.ReplaceAll(want, "\n", "\r\n")
			}
			if !strings.HasPrefix(string(got[i:]), want) {
				t.Fatalf("got %q, want %q behind %q", got, want, tt.behind)
			}
			left := string(got[:i]) + string(got[i+len(want):])
			if tt.name == "none yet" {
				left = strings.Replace(left, "probes:\n", "", 1)
			}
			if strings.TrimRight(left, "\n") != strings.TrimRight(tt.text, "\n") {
				t.Errorf("the rest became %q, was %q", left, tt.text)
			}
			if info, _ := os.Stat(path); info.Mode().Perm() != 0o640 {
				t.Errorf("the file's rights became %v", info.Mode())
			}
			if left, _ := filepath.Glob(filepath.Join(filepath.Dir(path), ".binwatchd-*")); len(left) > 0 {
				t.Errorf("left behind: %v", left)
			}
			again, err := config.ReadDraft(path)
			if err != nil || !again.Knows("new/t", "") || again.Knows("new/t", "/x") || again.Knows("other/t", "") {
				t.Errorf("read again: %v, and new/t is not known", err)
			}
		})
	}
}

// What a draft says of topics, wildcards and named parts is known.
func TestDraftKnows(t *testing.T) {
	path := filepath.Join(t.TempDir(), "farm.yaml")
	if err := os.WriteFile(path, []byte("probes:\n  \"a-{n}-t\": {topic: \"a/{n}/b\", value: /t}\n  c: {topic: \"c/#\"}\n  d: {topic: \"d/+/x\", value: \"/{k}/t\"}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	d, err := config.ReadDraft(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		topic, value string
		want         bool
	}{
		{"a/1/b", "/t", true}, {"a/1/b", "/m", false}, {"a/1/2/b", "/t", false}, {"c", "", true}, {"c/d/e", "", true}, {"cc", "", false},
		{"d/1/x", "/1/t", true}, {"d/1/2/x", "/1/t", false}, {"e", "", false},
	} {
		if got := d.Knows(tt.topic, tt.value); got != tt.want {
			t.Errorf("%s %s: got %v", tt.topic, tt.value, got)
		}
	}
	if got := d.Name("a/17/b", "/t"); got != "a-17-t" {
		t.Errorf("a/17/b is called %q", got)
	}
}

// A file that is changed meanwhile, or that can't be added to, stays as it is.
func TestDraftsThatAreLeftAlone(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "farm.yaml")
	write := func(text string) {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for text, says := range map[string]string{
		"probes: {a: {topic: x}}\n": "not written in lines", "{probes: {}}": "not written in lines", "probes: [a]\n": "not written in lines", "- a\n": "lines of the form",
		"a: [": "not YAML", "": "empty", "x: &x {}\nprobes: *x\n": "",
	} {
		write(text)
		if _, err := config.ReadDraft(path); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: got %v, want %q", text, err, says)
		}
	}
	if _, err := config.ReadDraft(filepath.Join(dir, "nowhere")); err == nil {
		t.Error("a file that is not there was read")
	}
	write("farm: X\n")
	d, err := config.ReadDraft(path)
	if err != nil {
		t.Fatal(err)
	}
	add := func(entries string) *config.Draft {
		more, err := d.Add("probes", entries)
		if err != nil {
			t.Fatal(err)
		}
		return more
	}
	write("farm: Y\n")
	if err := add(added).Write(); err == nil || !strings.Contains(err.Error(), "changed meanwhile") {
		t.Errorf("got %v, want a word of the change", err)
	}
	if err := add("  broken: {topic: x, measures: warmth}\n").Check(); err == nil || !strings.Contains(err.Error(), "warmth") {
		t.Errorf("what would be wrong is not told: %v", err)
	}
	if err := add(added).Check(); err != nil {
		t.Errorf("a sound entry is refused: %v", err)
	}
	write("farm: X\nbins: {bed: {}}\n")
	if d, err = config.ReadDraft(path); err != nil {
		t.Fatal(err)
	}
	if _, err := d.Add("bins", "  heap: {}\n"); err == nil || !strings.Contains(err.Error(), "bins: is not written in lines") {
		t.Errorf("bins in braces: got %v", err)
	}
}

// A draft that is begun makes its file, sets another's aside, and overwrites none.
func TestADraftIsBegun(t *testing.T) {
	path := filepath.Join(t.TempDir(), "farm.yaml")
	start := func(text string) *config.Draft {
		d, err := config.StartDraft(path, []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	holds := func(path, want string) {
		t.Helper()
		if got, _ := os.ReadFile(path); string(got) != want {
			t.Errorf("%s holds %q, want %q", path, got, want)
		}
	}
	d, second := start("farm: X\n"), start("farm: Z\n")
	if err := d.Write(); err != nil {
		t.Fatal(err)
	}
	if err := second.Write(); err == nil {
		t.Error("a file that came meanwhile was overwritten")
	}
	more, err := d.Append("# More.\nunits: us\n")
	if err != nil || more.Write() != nil {
		t.Fatal("the draft is not written again", err)
	}
	holds(path, "farm: X\n# More.\nunits: us\n")
	if err := start("farm: Y\n").Write(); err != nil {
		t.Fatal(err)
	}
	holds(path, "farm: Y\n")
	holds(path+".old", "farm: X\n# More.\nunits: us\n")
	if err := start("farm: V\n").Write(); err == nil {
		t.Error("what was set aside was overwritten")
	}
	holds(path, "farm: Y\n")
}
