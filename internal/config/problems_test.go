package config_test

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/config"
	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "rewrite golden files")

// atDesk loads as on 1 March 2026 on a machine in UTC.
var atDesk = config.Loader{
	Now:  func() time.Time { return time.Date(2026, time.March, 1, 12, 0, 0, 0, time.UTC) },
	Zone: func() *time.Location { return time.UTC },
}

func read(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// golden compares with a file under testdata, or rewrites it.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if diff := cmp.Diff(read(t, path), got); diff != "" {
		t.Errorf("%s (-want +got), rewrite with -update:\n%s", path, diff)
	}
}

// An edit spoils one thing in a configuration that is right.
type edit struct{ name, old, new string }

// TestEveryProblem holds each message with its place. The golden files read
// as a list of mistakes and what is said to them: - the right text, + the
// mistake, then the problems.
func TestEveryProblem(t *testing.T) {
	for _, set := range []struct {
		file  string
		edits []edit
	}{
		{"yaml", yamlEdits}, {"keys", keyEdits}, {"quantities", quantityEdits}, {"probes", probeEdits},
		{"bins", binEdits}, {"places", placeEdits}, {"servers", serverEdits}, {"tell", tellEdits}, {"names", nameEdits},
	} {
		t.Run(set.file, func(t *testing.T) {
			base := read(t, "testdata/base.yaml")
			var b strings.Builder
			for _, e := range set.edits {
				if strings.Count(base, e.old) != 1 {
					t.Fatalf("%s: %q does not occur once in the base", e.name, e.old)
				}
				_, err := atDesk.Parse("farm.yaml", []byte(strings.Replace(base, e.old, e.new, 1)), config.ForRun)
				var problems *config.Problems
				if !errors.As(err, &problems) {
					t.Errorf("%s: got %v, want problems", e.name, err)
					continue
				}
				b.WriteString("# " + e.name + "\n" + prefixed("- ", e.old) + prefixed("+ ", e.new) + problems.Error() + "\n\n")
			}
			golden(t, "problems-"+set.file+".txt", b.String())
		})
	}
}

// prefixed puts a mark before each line and makes what cannot be seen visible.
func prefixed(mark, s string) string {
	if len(s) > 400 {
		s = s[:60] + "…"
	}
	var b strings.Builder
	for line := range strings.Lines(s) {
		line = strings.TrimSuffix(line, "\n")
		line = strings.NewReplacer("\t", "⇥", "\x00", "␀", "\xff", "‹FF›", "\r", "␍", "\u2028", "‹2028›").Replace(line)
		b.WriteString(mark + line + "\n")
	}
	return b.String()
}

// A file that is no configuration at all does not fill the screen.
func TestManyProblemsAreCutShort(t *testing.T) {
	var b strings.Builder
	for i := range 150 {
		fmt.Fprintf(&b, "key%03d: 1\n", i)
	}
	_, err := atDesk.Parse("farm.yaml", []byte(b.String()), config.ForRehearsal)
	var problems *config.Problems
	if !errors.As(err, &problems) {
		t.Fatalf("got %v, want problems", err)
	}
	lines := strings.Split(err.Error(), "\n")
	if len(problems.List) != 153 || len(lines) != 101 || lines[100] != "and 53 more" {
		t.Errorf("got %d problems in %d lines, the last %q", len(problems.List), len(lines), lines[len(lines)-1])
	}
}

func TestWindow(t *testing.T) {
	w := parseAt(t, replaced(t, farmName, farmName+`tell: [{push: {env: P}, quiet: "22:00–7:05"}]`+"\n"), config.ForRun).Tell[0].Quiet
	if w == nil || w.String() != "22:00-07:05" {
		t.Errorf("got %v", w)
	}
}
