package main_test

import (
	"context"
	"fmt"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/journal"
	"binwatchd/internal/rules"
)

// judged is how much of the year before the rules are let see: to refit a model each hour
// of a year for forty zones takes minutes, and what comes is reckoned from days.
const judged = 10 * 24 * time.Hour

// BenchmarkAhead is the command that lists what comes, beside the daemon of a farm of 40
// zones with a year of readings and of weekly lines in the logbook of each; and the command
// that writes one more line.
func BenchmarkAhead(b *testing.B) {
	const zones, runs = 40, 11
	broker := brokertest.StartMosquitto(b, brokertest.Options{})
	cfg := write(b, "binwatchd.yaml", yearYAML(2*zones, broker.URL, filepath.Join(b.TempDir(), "journal.db"), freeAddress(b))+"need: [{castings: 200 L, by: 10 Apr}]\n")
	for b.Loop() {
		writePast(b, cfg, longPast, judged, 6*time.Hour)
		liveThrough(b, cfg, judged, time.Hour)
	}
	c := startChild(b, cfg)
	c.says("broker reached")
	path, err := program()
	if err != nil {
		b.Fatal(err)
	}
	var listed, written []time.Duration
	var worked time.Duration // by the processor, for all listings
	things := 0
	run := func(args ...string) (out []byte, took, work time.Duration) {
		began, cmd := time.Now(), exec.Command(path, append(args, "--config", cfg)...)
		out, err := cmd.Output()
		if err != nil {
			b.Fatalf("%s: %v: %s", args[0], err, out)
		}
		return out, time.Since(began), cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	}
	for range runs {
		out, took, work := run("ahead", "--json")
		listed, worked, things = append(listed, took), worked+work, strings.Count(string(out), `"kind":`)
		_, took, _ = run("jot", "fed bed7 1 kg scraps and watered ½ L, yesterday evening")
		written = append(written, took)
	}
	slices.Sort(listed)
	slices.Sort(written)
	b.ReportMetric(float64(listed[runs/2].Microseconds())/1000, "ahead-ms")
	b.ReportMetric(float64(worked.Microseconds())/1000/runs, "ahead-cpu-ms")
	b.ReportMetric(float64(written[runs/2].Microseconds())/1000, "jot-ms")
	b.ReportMetric(float64(things), "things")
	c.stop()
}

// writePast writes what was heard from so long ago until so long ago, a reading of each
// probe every so often, and a watering and a feed of each bed a week, as if nobody had judged
// them. It gives the number of readings.
func writePast(b *testing.B, path string, from, until, every time.Duration) (readings int) {
	ctx := context.Background()
	cfg, err := config.Load(path, config.ForRun)
	if err != nil {
		b.Fatal(err)
	}
	end := time.Now().UTC().Add(-until).Truncate(time.Minute)
	now := end.Add(until - from)
	week := int(7 * 24 * time.Hour / every)
	j, err := journal.Open(ctx, journal.Config{Path: cfg.Journal.Path, Keep: cfg.Journal.Keep, Now: func() time.Time { return now }})
	if err != nil {
		b.Fatal(err)
	}
	defer j.Close()
	if err := j.SetFarm(ctx, &cfg.Farm); err != nil {
		b.Fatal(err)
	}
	for n := 0; now.Before(end); n++ {
		batch := &journal.Batch{}
		add := func(e farm.Event) {
			e.Arrived = now
			batch.Entries = append(batch.Entries, journal.Entry{Event: e})
		}
		for i, bin := range cfg.Farm.Bins {
			if n%week == i%7*week/7 {
				add(farm.Event{Kind: farm.EventJot, Jot: farm.Jot{At: now, Bin: bin.Name, What: farm.Watered, Litres: 1}})
				add(farm.Event{Kind: farm.EventJot, Jot: farm.Jot{At: now, Bin: bin.Name, What: farm.Fed, Kg: 1, Of: "scraps"}})
			}
		}
		for _, p := range cfg.Farm.Probes {
			if p.Measures != farm.Battery {
				value, _ := strconv.ParseFloat(says(p, n*int(every/time.Minute)), 64)
				add(farm.Event{Kind: farm.EventReading, Reading: farm.Reading{Probe: p.ID, At: now, Raw: value, Value: value}})
				readings++
			}
		}
		if now = now.Add(every); !now.Before(end) {
			batch.Snapshot = unjudged(b, &cfg.Farm, now)
		}
		if err := j.Append(ctx, batch); err != nil {
			b.Fatal(err)
		}
		if n%week == 0 {
			if _, err := j.Compact(ctx, now, true); err != nil {
				b.Fatal(err)
			}
		}
	}
	return readings
}

// unjudged is the state of a farm of which nothing was judged yet, from which a daemon goes on.
func unjudged(b *testing.B, f *farm.Farm, at time.Time) *journal.Snapshot {
	s := &journal.Snapshot{Version: rules.SnapshotVersion, Digest: "unjudged", Taken: at}
	for into, save := range map[*[]byte]func() ([]byte, error){
		&s.Rules: rules.New(f).Save, &s.Doubts: ingest.NewDoubter(f).Save, &s.Arrivals: ingest.NewArrivals(f).Save,
	} {
		var err error
		if *into, err = save(); err != nil {
			b.Fatal(fmt.Errorf("save: %w", err))
		}
	}
	return s
}
