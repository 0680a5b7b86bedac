package licences_test

import (
	"cmp"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"binwatchd/internal/licences"
)

var update = flag.Bool("update", false, "write notices.txt from the modules at hand")

// says is a sentence that each licence's text has and no other here does; the texts
// are SPDX's (spdx.org/licenses), from memory.
var says = map[string]*regexp.Regexp{
	"MIT":          regexp.MustCompile(`Permission is hereby granted, free of charge,\s+to\s+any\s+person\s+obtaining\s+a\s+copy`),
	"BSD-3-Clause": regexp.MustCompile(`Redistribution and use in source and binary forms[\s\S]*Neither the names? of`),
	"BSD-2-Clause": regexp.MustCompile(`Redistribution and use in source and binary forms`),
	"Apache-2.0":   regexp.MustCompile(`Apache License\s+Version 2\.0|Licensed under the Apache License, Version 2\.0`),
	"EPL-2.0":      regexp.MustCompile(`Eclipse Public License - v 2\.0`),
	"FTL":          regexp.MustCompile(`The FreeType Project LICENSE`),
	"blessing":     regexp.MustCompile(`SQLite Is Public Domain`),
}

// Every module that is in the program on any machine has its licence in the table,
// the text of that licence in the notices, and nothing else is in either.
func TestNoticesAreOfEveryModule(t *testing.T) {
	found := modulesInTheProgram(t)
	for module, text := range found {
		terms := licences.Of(module)
		if terms == "" {
			t.Errorf("%s is in the program, and spdx has no licence for it", module)
			continue
		}
		for id := range strings.SplitSeq(terms, " AND ") {
			if says[id] == nil || !says[id].MatchString(strings.Join(text, "\n")) {
				t.Errorf("%s is to be under %s, and none of its files has that text", module, id)
			}
		}
	}
	for gone := range licences.Known {
		if found[gone] == nil {
			t.Errorf("spdx has %s, which is not in the program", gone)
		}
	}
	want := written(found)
	if *update {
		if err := os.WriteFile("notices.txt", []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	} else if licences.Notices() != want {
		t.Error("notices.txt is not what the modules at hand say; write it with: go test ./internal/licences -update")
	}
}

// written puts each text under the names of all modules that have it word for word.
func written(found map[string][]string) string {
	under := map[string][]string{}
	for module, texts := range found {
		for _, text := range texts {
			under[text] = append(under[text], module)
		}
	}
	texts := slices.SortedFunc(maps.Keys(under), func(a, b string) int {
		slices.Sort(under[a])
		slices.Sort(under[b])
		return cmp.Or(slices.Compare(under[a], under[b]), cmp.Compare(a, b))
	})
	var b strings.Builder
	for _, text := range texts {
		rule := strings.Repeat("-", 78)
		fmt.Fprintf(&b, "%s\n%s\n%s\n\n%s\n\n", rule, strings.Join(under[text], "\n"), rule, text)
	}
	return b.String()
}

// ofLicence are the names that files with a licence or a notice have.
var ofLicence = regexp.MustCompile(`(?i)^(licen[cs]e|copying|copyright|notice|patents|unlicense|ftl)([-.].*)?$`)

// notOurs are files about what is not in the program: a picture, and the other
// licence that is not taken.
var notOurs = regexp.MustCompile(`LICENSE-LOGO|testdata|\.go$`)

// modulesInTheProgram gives the texts that come with each module whose code is in the
// program on a Pi or a PC: those of its root and of the packages that are used.
func modulesInTheProgram(t *testing.T) map[string][]string {
	t.Helper()
	found := map[string][]string{}
	for _, arch := range []string{"arm", "arm64", "amd64"} {
		cmd := exec.Command("go", "list", "-deps", "-json=Dir,Standard,Module", "../../cmd/binwatchd")
		cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS=linux", "GOARCH="+arch)
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("go list: %v", err)
		}
		type pkg struct {
			Dir      string
			Standard bool
			Module   struct {
				Path, Dir string
				Main      bool
			}
		}
		for dec := json.NewDecoder(strings.NewReader(string(out))); ; {
			var p pkg
			if err := dec.Decode(&p); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatal(err)
			}
			switch {
			case p.Standard:
				p.Module.Path, p.Module.Dir, p.Dir = licences.Std, goroot(t), goroot(t)
			case p.Module.Main:
				continue
			}
			for dir := p.Dir; strings.HasPrefix(dir, p.Module.Dir); dir = filepath.Dir(dir) {
				for _, text := range append(texts(t, dir), texts(t, filepath.Join(dir, "licenses"))...) {
					if !slices.Contains(found[p.Module.Path], text) {
						found[p.Module.Path] = append(found[p.Module.Path], text)
					}
				}
			}
		}
	}
	return found
}

func goroot(t *testing.T) string {
	out, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(out))
}

// texts reads what a folder has of licences, blank ends of lines taken away.
func texts(t *testing.T, dir string) []string {
	files, _ := os.ReadDir(dir) // none is no folder of licences
	var all []string
	for _, f := range files {
		if f.IsDir() || !ofLicence.MatchString(f.Name()) || notOurs.MatchString(f.Name()) {
			continue
		}
		b, err := os.ReadFile(filepath.Join(dir, f.Name()))
		if err != nil {
			t.Fatal(err)
		}
		if !utf8.Valid(b) { // an old file, in Latin-1
			runes := make([]rune, len(b))
			for i, c := range b {
				runes[i] = rune(c)
			}
			b = []byte(string(runes))
		}
		var lines []string
		for line := range strings.Lines(string(b)) {
			lines = append(lines, strings.TrimRight(line, " \t\r\n\f"))
		}
		all = append(all, strings.Trim(strings.Join(lines, "\n"), "\n"))
	}
	return all
}
