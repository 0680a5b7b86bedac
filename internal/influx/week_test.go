package influx_test

import (
	"path/filepath"
	"slices"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/influxtest"
	"binwatchd/internal/journal"
	"binwatchd/internal/proctest"
)

// A week during which the database was away, its older days packed in the
// journal's file, arrives point for point, though the server loses its power
// in between.
func TestAWeekArrivesOutOfTheFile(t *testing.T) {
	s := influxtest.StartInfluxd(t, influxtest.Options{})
	s.Do("CREATE DATABASE bins")
	s.Stop()
	f, told := glasshouse(), &troubles{}
	j, m := weekOfJournal(t, f, 10*time.Minute)
	cfg := onInfluxd(s)
	cfg.Pace.Rows = 500
	r := forward(t, cfg, f, j, told.tell)
	proctest.Eventually(t, "a failure", func() bool { return r.Figures().Trouble != "" })
	s.Start()
	proctest.Eventually(t, "a part", func() bool { return r.Figures().Reached > 5000 })
	s.Kill()
	s.Start()
	last, err := j.Last(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	proctest.Eventually(t, "the week", func() bool { return r.Figures().Reached == last })
	wantEverything(t, s, m)
}

// weekOfJournal fills a journal, compacting it as it goes like the daemon does, so
// that it stands as after a week's outage. It gives the readings in memory, too.
func weekOfJournal(tb testing.TB, f farm.Farm, every time.Duration) (*journal.Journal, *memory) {
	tb.Helper()
	now := start
	j, err := journal.Open(tb.Context(), journal.Config{Path: filepath.Join(tb.TempDir(), "journal.db"), Now: func() time.Time { return now }})
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := j.Close(); err != nil {
			tb.Error(err)
		}
	})
	if err := j.SetFarm(tb.Context(), &f); err != nil {
		tb.Fatal(err)
	}
	m := &memory{}
	grow(m, f, 0, 7, every)
	m.events = slices.DeleteFunc(m.events, func(e farm.Event) bool { return e.Kind != farm.EventReading })
	for hour := range slices.Chunk(m.events, int(time.Hour/every)*len(f.Probes)) {
		batch := &journal.Batch{}
		for _, e := range hour {
			batch.Entries = append(batch.Entries, journal.Entry{Event: e})
		}
		if err := j.Append(tb.Context(), batch); err != nil {
			tb.Fatal(err)
		}
		now = hour[len(hour)-1].Arrived
		if _, err := j.Compact(tb.Context(), now, true); err != nil {
			tb.Fatal(err)
		}
	}
	return j, m
}
