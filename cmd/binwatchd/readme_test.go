package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/config"
)

// readmeNow is when README's sessions are held.
var readmeNow = time.Date(2027, time.May, 9, 7, 8, 0, 0, time.UTC)

// readmeFarm is what the probes say until then: of a bed that dries, whose far end is dry
// enough to sift, and of a crate that is too dry.
func readmeFarm(at time.Time, publish func(topic, payload string)) {
	days := at.Sub(readmeNow).Hours() / 24 // below 0
	for topic, value := range map[string]float64{
		"glass/bed/t": 22 + 2*math.Sin(2*math.Pi*(days-0.4)), "glass/bed/m": 71.8 - 0.5*days, "glass/far/m": 44.4 - 0.6*days, "store/crate/m": 39.2 - 0.4*days,
	} {
		publish(topic, fmt.Sprintf("%.1f", value))
	}
}

// Every command that README shows after "Day to day" prints the lines shown under it, one
// after the other, or with others between them where it shows three dots. A daemon whose
// clock stands still answers.
func TestDocumentedSessions(t *testing.T) {
	dir := t.TempDir()
	text, err := os.ReadFile("testdata/readme/hillfoot.yaml")
	week, errWeek := os.ReadFile("testdata/readme/week.csv")
	if err := errors.Join(err, errWeek); err != nil {
		t.Fatal(err)
	}
	write(t, dir, "week.csv", string(week))
	path := write(t, dir, "binwatchd.yaml", strings.Replace(string(text), "journal.db", filepath.Join(dir, "journal.db"), 1))
	liveThrough(t, path, readmeNow.AddDate(0, 0, -5), readmeNow, readmeFarm)
	cfg, err := config.Load(path, config.ForRun)
	if err != nil {
		t.Fatal(err)
	}
	d := &daemon{log: slog.New(slog.DiscardHandler), clock: clockwork{now: func() time.Time { return readmeNow }}}
	if err := d.open(t.Context(), cfg); err != nil {
		t.Fatal(err)
	}
	serving, end := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() { served <- d.serve(serving) }()
	ran := 0
	for _, shown := range readmeSessions(t) {
		session := strings.Split(strings.TrimRight(shown, "\n"), "\n")
		words := session[0]
		ran++
		var printed bytes.Buffer
		args := strings.Fields(words)
		for i, a := range args {
			if strings.HasPrefix(filepath.Ext(a), ".") {
				args[i] = filepath.Join(dir, a)
			}
		}
		if args[0] != "species" {
			args = append(args, "--config", path)
		}
		if code := dispatch(t.Context(), args, &streams{os.Stdin, &printed, &printed}); code != exitDone {
			t.Errorf("%s: exit %d", words, code)
		}
		said := strings.ReplaceAll(printed.String(), dir+"/", "")
		if missing := firstMissing(session[1:], strings.Split(said, "\n")); missing != "" {
			t.Errorf("%s: README shows %q; it printed\n%s", words, missing, said)
		}
	}
	if ran < 8 {
		t.Errorf("README shows %d sessions", ran)
	}
	end()
	if err := <-served; err != nil {
		t.Error(err)
	}
}

// readmeSessions are the commands of README after "Day to day", each with the lines under it.
func readmeSessions(t *testing.T) (all []string) {
	t.Helper()
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, day, _ := strings.Cut(string(text), "\n## Day to day\n")
	day, _, _ = strings.Cut(day, "\n## ")
	for _, m := range fence.FindAllStringSubmatch(day, -1) {
		if m[1] == "console" {
			all = append(all, strings.Split(m[2], "$ binwatchd ")[1:]...)
		}
	}
	return all
}

// byTheMachine is what a command says by the machine's own clock.
var byTheMachine = regexp.MustCompile(`until .*`)

// firstMissing is the first line shown that is not printed where it should be; "" where all
// are. One that ends in three dots is the beginning of a line.
func firstMissing(shown, printed []string) string {
	gap := false
	for _, line := range shown {
		if line == "..." {
			gap = true
			continue
		}
		i := slices.IndexFunc(printed, func(p string) bool {
			if begin, cut := strings.CutSuffix(line, " ..."); cut {
				return strings.HasPrefix(p, begin)
			}
			return p == line || strings.HasPrefix(line, "quiet about ") && byTheMachine.ReplaceAllString(p, "") == byTheMachine.ReplaceAllString(line, "")
		})
		if i < 0 || i > 0 && !gap {
			return line
		}
		printed, gap = printed[i+1:], false
	}
	return ""
}
