package main_test

import (
	"runtime"
	"strconv"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/rules"
)

// BenchmarkStep lets hours of twenty probes that speak every minute go through
// the fold. Ten zones are refitted in the first ten minutes of each hour; the
// other fifty minutes are the quiet path, ticks included. What the first ten
// take more is the refits'.
func BenchmarkStep(b *testing.B) {
	f := glasshouse(20)
	state := rules.New(f)
	at := time.Date(2026, 5, 4, 0, 0, 0, 0, time.UTC)
	n := 0
	hour := func() (refitting, quiet part) {
		refitting, n, at = step(b, state, f, n, at, 10)
		quiet, n, at = step(b, state, f, n, at, 50)
		return refitting, quiet
	}
	for range 7 * 24 { // a past to fit
		hour()
	}
	var refitting, quiet part
	hours := 0.0
	for b.Loop() {
		r, q := hour()
		refitting, quiet = refitting.plus(r), quiet.plus(q)
		hours++
	}
	b.ReportMetric(quiet.perReading(), "quiet-ns/reading")
	b.ReportMetric(float64(quiet.allocs)/float64(quiet.readings), "quiet-allocs/reading")
	more := float64(refitting.took) - quiet.perReading()*float64(refitting.readings)
	b.ReportMetric(more/hours/10/1000, "us/refit")
}

// A part is some minutes of an hour.
type part struct {
	took     time.Duration
	allocs   uint64
	readings int
}

func (p part) plus(q part) part {
	return part{p.took + q.took, p.allocs + q.allocs, p.readings + q.readings}
}

func (p part) perReading() float64 { return float64(p.took) / float64(p.readings) }

// step lets some minutes happen.
func step(b *testing.B, s *rules.State, f *farm.Farm, n int, at time.Time, minutes int) (part, int, time.Time) {
	var events []farm.Event
	for range minutes {
		for i, p := range f.Probes[:20] {
			v, err := strconv.ParseFloat(says(p, n), 64)
			if err != nil {
				b.Fatal(err)
			}
			t := at.Add(time.Duration(i) * 3 * time.Second)
			events = append(events, farm.Event{Kind: farm.EventReading, Arrived: t, Reading: farm.Reading{Probe: p.ID, At: t, Raw: v, Value: v}})
		}
		n, at = n+1, at.Add(time.Minute)
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	began := time.Now()
	for i := range events {
		s.Step(events[i])
	}
	took := time.Since(began)
	runtime.ReadMemStats(&after)
	return part{took, after.Mallocs - before.Mallocs, len(events)}, n, at
}
