package main

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"binwatchd/internal/proctest"
)

const killCauseYAML = `farm: Hillfoot Nursery
broker: {url: %q}
journal: {path: %q, flush: 1s}
mail: {server: %q, from: bins@example.org, user: bins, password: {file: %q}, ca: %q}
probes: {"linden-{n}-t": {topic: "linden/{n}", value: /t, time: /at, measures: temperature}}
places: {linden: {bins: ["linden-*"]}}
bins:
  linden-1: {species: african, zones: {all: {aim: living, probes: [linden-1-t]}}}
  linden-2: {species: african, zones: {all: {aim: living, probes: [linden-2-t]}}}
  linden-3: {species: african, zones: {all: {aim: living, probes: [linden-3-t]}}}
  linden-4: {species: african, zones: {all: {aim: living, probes: [linden-4-t]}}}
tell: [{mail: keeper@example.org}]
`

// The first bin of a shed that goes cold is told at once, and those that join are gathered for
// two minutes. The program is killed amid them, or as the letter is taken: each bin is told once, in
// two letters, and what comes again bears the id of what was there. It takes minutes, of which a soak has
// enough; internal/notify goes through every step.
func TestKilledWhileBinsAreGathered(t *testing.T) {
	if soak(t) == 0 {
		t.Skip("it waits for letters: make soak")
	}
	for name, after := range map[string]time.Duration{"at the first": 0, "amid": 40 * time.Second, "before the second": 100 * time.Second, "at the second": -1} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir, b, box := t.TempDir(), brokertest.StartMosquitto(t, brokertest.Options{}), startMailbox(t)
			db := filepath.Join(dir, "journal.db")
			cfg := write(t, dir, "binwatchd.yaml", fmt.Sprintf(killCauseYAML, b.URL, db, box.addr, write(t, dir, "mail.secret", mailPassword), box.ca))
			daemon := startPlain(t, "run", "--config", cfg)
			daemon.Says("broker reached")
			letter := func(n int) {
				t.Helper()
				proctest.Eventually(t, fmt.Sprint("letter ", n), func() bool { return len(letters(box)) >= n })
			}
			die := func() {
				daemon.End(syscall.SIGKILL)
				daemon = startPlain(t, "run", "--config", cfg)
			}
			goesCold(b, 1)
			letter(1)
			first := time.Now()
			goesCold(b, 2)
			goesCold(b, 3)
			if after >= 0 {
				<-time.After(after)
				die()
			}
			goesCold(b, 4)
			letter(2)
			second := time.Now()
			die()
			daemon.Says("broker reached")
			<-time.After(10 * time.Second)
			daemon.Stop()
			all := letters(box)
			t.Logf("%d mails, %d letters, %s apart: %q", len(box.all()), len(all), second.Sub(first), all)
			if len(all) != 2 || len(box.all()) > 4 || !strings.Contains(all[1], "3 more bins in danger of cold") {
				t.Errorf("got %q in %d mails, want the first bin, then the other three", all, len(box.all()))
			}
			checkAllTold(t, db, 4)
		})
	}
}

// goesCold has a bin send an hour of readings that no African worm survives.
func goesCold(b *brokertest.Broker, bin int) {
	for ago := 60; ago >= 0; ago -= 5 {
		at := time.Now().UTC().Add(-time.Duration(ago) * time.Minute).Format(time.RFC3339)
		b.Publish(fmt.Sprint("linden/", bin), 1, false, fmt.Sprintf(`{"t": 6, "at": %q}`, at))
	}
}

// letters are the subjects of the mails that came, those with one id once.
func letters(box *mailbox) (subjects []string) {
	came := map[string]bool{}
	for _, m := range box.all() {
		if id := m.Header.Get("Message-ID"); !came[id] {
			came[id] = true
			subjects = append(subjects, m.Header.Get("Subject"))
		}
	}
	return subjects
}

// checkAllTold looks into the journal for so many bins that went cold, and for what is owed still.
func checkAllTold(t *testing.T, db string, bins int) {
	t.Helper()
	j, err := journal.OpenReadOnly(context.Background(), journal.Config{Path: db, Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	noticed, err := j.Noticed(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	told := 0
	for _, n := range noticed {
		if n.Condition == farm.TooCold && n.Told {
			told++
		}
	}
	if waiting, err := j.Waiting(t.Context()); told != bins || len(waiting) > 0 || err != nil {
		t.Errorf("%d bins told, %v owed (%v), want %d and nothing: %+v", told, waiting, err, bins, noticed)
	}
}
