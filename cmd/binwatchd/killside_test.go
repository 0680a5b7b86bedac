package main

import (
	"context"
	"fmt"
	"hash/fnv"
	"log/slog"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"binwatchd/internal/proctest"
)

// Some work is done once in an hour, or once in the life of a journal. For that a copy
// of one that has it before it is taken, a daemon started on it and killed at it, and all
// that the copy held is looked for.

const sideYAML = `farm: Hillfoot Nursery
timezone: UTC
broker: {url: "tcp://127.0.0.1:9", client_id: side}
journal: {path: %q, keep: 32000d}
probes:
  bed-t2: {topic: glass/bed/t, measures: temperature}
  bed-m: {topic: glass/bed/m, measures: moisture, unit: "%%"}
bins:
  bed: {species: red, zones: {near: {aim: living, probes: [bed-t2, bed-m]}}}
`

// A side is a kind of work at which a daemon is killed.
type side struct {
	name string
	env  []string
	from string        // the journal that has it before it
	over string        // what the log says when it is done
	long time.Duration // how long it takes, about
	want string        // digest of from
}

// compactsMark has a child pack what is old all the time, and not once an hour.
const compactsMark = "BINWATCHD_COMPACTS"

// sides makes the journals that have each work before them.
func sides(t *testing.T) []side {
	t.Helper()
	dir := t.TempDir()
	unpacked := filepath.Join(dir, "unpacked.db")
	cfg := write(t, dir, "farm.yaml", fmt.Sprintf(sideYAML, unpacked))
	from := time.Now().Add(-20 * 24 * time.Hour).Truncate(time.Hour)
	liveThrough(t, cfg, from, from.Add(17*24*time.Hour), func(at time.Time, publish func(topic, payload string)) {
		h := at.Sub(from).Hours()
		for range 2 {
			publish("glass/bed/t", fmt.Sprintf("%.2f", 19+2*math.Sin(h/4)))
			publish("glass/bed/m", fmt.Sprintf("%.2f", 74-h/200))
		}
	})
	return []side{
		{name: "while it packs", env: []string{compactsMark + "=1"}, from: unpacked, over: "packed", want: digestOf(t, unpacked)},
		{name: "while it migrates", from: "../../internal/journal/testdata/schema-2.db", over: "watching", want: digestOf(t, "../../internal/journal/testdata/schema-2.db")},
	}
}

// kill starts a daemon at the work and kills it somewhere in it; it tells whether it was
// killed before it was done.
func (s *side) kill(t *testing.T) (amid bool) {
	t.Helper()
	dir := t.TempDir()
	db := filepath.Join(dir, "journal.db")
	text, err := os.ReadFile(s.from)
	if err == nil {
		err = os.WriteFile(db, text, 0o640)
	}
	if err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	c := startChild(t, s.env, "run", "--config", write(t, dir, "farm.yaml", fmt.Sprintf(sideYAML, db)))
	if s.long == 0 { // how long it takes is seen once
		c.Says(s.over)
		s.long = time.Since(began)
	} else {
		<-time.After(time.Duration(rand.Int64N(int64(s.long))))
	}
	amid = !strings.Contains(c.Log.String(), s.over)
	c.End(syscall.SIGKILL)
	if got := digestOf(t, db); got != s.want {
		t.Errorf("killed %s: the journal is %s, want %s", s.name, got, s.want)
	}
	return amid
}

// digestOf is all that a journal had heard before a daemon of this test ran on it.
func digestOf(t *testing.T, path string) string {
	t.Helper()
	j, err := journal.OpenReadOnly(t.Context(), journal.Config{Path: path, Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	sum, n := fnv.New64a(), 0
	err = j.Replay(t.Context(), 0, func(e farm.Event) error {
		if e.Kind == farm.EventReading || e.Kind == farm.EventJot {
			n++
			fmt.Fprintln(sum, e.Seq, e.Kind, e.Arrived.UnixMilli(), e.Reading.At.UnixMilli(), e.Reading.Probe, math.Float64bits(e.Reading.Raw), e.Jot.What)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%d events, %x", n, sum.Sum64())
}

// compactingMain runs the daemon in a child, and packs all the time beside it.
func compactingMain() int {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	path := os.Args[len(os.Args)-1]
	cfg, err := config.Load(path, config.ForRun)
	if err != nil {
		return exitWrong
	}
	d := &daemon{path: path, log: slog.New(slog.NewTextHandler(os.Stderr, nil)), clock: clockwork{now: time.Now}}
	if err := d.open(ctx, cfg); err != nil {
		return exitWrong
	}
	go func() {
		for ctx.Err() == nil {
			if done, err := d.journal.Compact(ctx, time.Now(), true); err == nil && done.Rows > 0 {
				d.log.Info("packed", "rows", done.Rows)
			}
		}
	}()
	if err := d.serve(ctx); err != nil {
		return exitWrong
	}
	return exitDone
}

// startPlain runs the program as it is for a PC: it starts in a tenth of the time that it
// takes under the race detector.
func startPlain(t *testing.T, args ...string) *proctest.Process {
	t.Helper()
	return proctest.Start(t, exec.Command(program(t), args...))
}
