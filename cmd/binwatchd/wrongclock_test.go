package main

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/clock"
	"binwatchd/internal/config"
	"binwatchd/internal/influxtest"
	"binwatchd/internal/proctest"
)

const wrongClockYAML = `farm: Hillfoot Nursery
timezone: UTC
broker: {url: %q}
journal: {path: %q, flush: 1s}
influx: {url: %q, flavour: v1, database: bins}
probes:
  bed-t: {topic: glass/bed, measures: temperature}
bins:
  bed: {species: red, zones: {near: {aim: living, probes: [bed-t]}}}
`

// A Pi that was off for a night starts with the time at which it was
// switched off, and its way to a time server takes hours. What was forwarded by
// then is in the database under the true times once the clock is put right.
func TestDatabaseGetsTheTrueTimes(t *testing.T) {
	t.Parallel() // it waits more than it works
	broker, db := brokertest.StartMosquitto(t, brokertest.Options{}), influxtest.StartInfluxd(t, influxtest.Options{})
	db.Do("CREATE DATABASE bins")
	dir := t.TempDir()
	path := write(t, dir, "farm.yaml", fmt.Sprintf(wrongClockYAML, broker.URL, filepath.Join(dir, "journal.db"), db.URL))
	cfg, err := config.Load(path, config.ForRun)
	if err != nil {
		t.Fatal(err)
	}
	var off atomic.Int64
	off.Store(int64(-10 * time.Hour))
	var synced atomic.Bool
	began := time.Now()
	sources := clock.Sources{
		Wall:      func() time.Time { return time.Now().Add(time.Duration(off.Load())) },
		SinceBoot: func() time.Duration { return 3*time.Hour + time.Since(began) },
		Synced:    synced.Load,
	}
	// Only ticks are hurried: the clock is looked at every second.
	d := &daemon{log: slog.New(slog.DiscardHandler), clock: clockwork{now: sources.Wall, speed: 60, sources: &sources}}
	ctx, stop := context.WithCancel(t.Context())
	if err := d.open(ctx, cfg); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- d.serve(ctx) }()
	defer func() {
		stop()
		if err := <-ended; err != nil {
			t.Errorf("daemon ended with %v", err)
		}
	}()
	// What is published before the daemon has a session is nobody's.
	proctest.Eventually(t, "the daemon is connected", func() bool { v, ok := d.look(); return ok && v.Intake.Connected })
	probe := brokertest.Client(t, broker.URL, "glass", "", "")
	defer probe.Disconnect(50)
	say := func() { brokertest.Done(t, "publish", probe.Publish("glass/bed", 1, false, "21.5")) }

	since := func(from time.Time) int {
		rows := db.Query("bins", fmt.Sprintf(`SELECT COUNT(raw) FROM bin_levels WHERE time >= %d`, from.UnixNano()))
		return len(rows)
	}
	proctest.Eventually(t, "the broker is reached", func() bool {
		v, ok := d.look()
		return ok && v.Intake.Connected
	})
	say()
	proctest.Eventually(t, "a point under the wrong time", func() bool { return since(began.AddDate(0, 0, -4)) == 1 })
	if since(began.Add(-time.Hour)) != 0 {
		t.Fatal("the wrong clock is right")
	}
	off.Store(0)
	synced.Store(true)
	proctest.Eventually(t, "the point under its true time", func() bool { return since(began.Add(-time.Hour)) == 1 })
}
