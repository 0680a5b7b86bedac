package config_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"binwatchd/internal/config"
)

// FuzzLoad holds what loading promises for any bytes at all: no panic, and
// either a configuration that shows and loads again, or problems that each
// have a place in the file and a message of one line.
func FuzzLoad(f *testing.F) {
	files, err := filepath.Glob("../../configs/*.yaml")
	if err != nil || len(files) < 2 {
		f.Fatalf("found %v, %v", files, err)
	}
	for _, path := range append(files, "testdata/contract.yaml", "testdata/base.yaml") {
		f.Add(readSeed(f, path), true)
	}
	base := string(readSeed(f, "testdata/base.yaml"))
	for _, set := range [][]edit{yamlEdits[:len(yamlEdits)-1], keyEdits, quantityEdits, probeEdits, binEdits, serverEdits, tellEdits, nameEdits} {
		for _, e := range set {
			f.Add([]byte(strings.Replace(base, e.old, e.new, 1)), false)
		}
	}
	for _, s := range []string{"", "\n", "---", "...", "a", "- a", "{", "}", "a: &a [*a]", "? ", "!!binary a", "\ufefffarm: x", "a: |\n  b\n c", "%YAML 9.9\n---\n"} {
		f.Add([]byte(s), true)
	}
	f.Fuzz(func(t *testing.T, text []byte, run bool) {
		need := config.ForRehearsal
		if run {
			need = config.ForRun
		}
		c, err := atDesk.Parse("/f/farm.yaml", text, need)
		if err != nil {
			checkProblems(t, text, err)
			return
		}
		var shown bytes.Buffer
		if err := c.Show(&shown); err != nil {
			t.Fatal(err)
		}
		if _, err := atDesk.Parse("/f/farm.yaml", shown.Bytes(), need); err != nil {
			t.Errorf("what is shown does not load:\n%v\n%s", err, shown.String())
		}
	})
}

func checkProblems(t *testing.T, text []byte, err error) {
	t.Helper()
	var problems *config.Problems
	if !errors.As(err, &problems) || len(problems.List) == 0 {
		t.Fatalf("got %v, want problems", err)
	}
	lines := bytes.Count(text, []byte("\n")) + 1
	for _, p := range problems.List {
		if p.Line < 1 || p.Line > lines || p.Column < 1 {
			t.Errorf("%s: the file has %d lines", p, lines)
		}
		if p.Message == "" || strings.ContainsAny(p.Message, "\n\r") {
			t.Errorf("the message is not one line: %q", p.Message)
		}
	}
}

func readSeed(f *testing.F, path string) []byte {
	f.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		f.Fatal(err)
	}
	return text
}
