package journal_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// slowly works samples out from the events themselves, to hold the journal's
// against: the values of the probes that judge, in steps of a hundredth.
func slowly(events []farm.Event, probes []string, from, to time.Time, step time.Duration) []farm.Sample {
	type bucket struct {
		n        int64
		sum      float64
		min, max float64
	}
	buckets := map[int64]*bucket{}
	for _, e := range events {
		r := e.Reading
		if e.Kind != farm.EventReading || !slices.Contains(probes, r.Probe) || !r.Believed() || r.Uncertain || r.Retained || math.IsNaN(r.Value) {
			continue
		}
		at := r.At.Truncate(step)
		if at.Before(from) || !at.Before(to) {
			continue
		}
		v := math.Round(r.Value*100) / 100
		b := buckets[at.UnixMilli()]
		if b == nil {
			b = &bucket{min: v, max: v}
			buckets[at.UnixMilli()] = b
		}
		b.n, b.sum, b.min, b.max = b.n+1, b.sum+v, min(b.min, v), max(b.max, v)
	}
	var out []farm.Sample
	for ms, b := range buckets {
		out = append(out, farm.Sample{At: time.UnixMilli(ms).UTC(), N: b.n, Min: b.min, Max: b.max, Mean: b.sum / float64(b.n)})
	}
	slices.SortFunc(out, func(a, b farm.Sample) int { return a.At.Compare(b.At) })
	return out
}

func nearly(t *testing.T, what string, got, want []farm.Sample) {
	t.Helper()
	close := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-9 })
	if d := cmp.Diff(want, got, close); d != "" {
		t.Fatalf("%s (-want +got):\n%s", what, d)
	}
}

func TestSamplesAreTheSameBeforeAndAfterPacking(t *testing.T) {
	j := open(t, newPath(t))
	events := fill(t, j, days(5, start.Add(-3*time.Hour), 9*24*time.Hour, 15*time.Minute))
	end := start.Add(9 * 24 * time.Hour)
	check := func(when string) {
		t.Helper()
		for _, step := range []time.Duration{10 * time.Minute, time.Hour, 6 * time.Hour, 24 * time.Hour, 48 * time.Hour} {
			what := fmt.Sprintf("%s, each %s", when, step)
			nearly(t, what+": temperature", samples(t, j, "bed", "near", farm.Temperature, start, end, step), slowly(events, []string{"bed-t", "bed-t2"}, start, end, step))
			nearly(t, what+": moisture", samples(t, j, "bed", "near", farm.Moisture, start, end, step), slowly(events, []string{"bed-m"}, start, end, step))
			nearly(t, what+": room", samples(t, j, "bed", "", farm.Temperature, start, end, step), slowly(events, []string{"glass-air"}, start, end, step))
			one, err := j.ProbeSamples(context.Background(), "bed-t2", start, end, step)
			if err != nil {
				t.Fatal(err)
			}
			nearly(t, what+": one probe", one, slowly(events, []string{"bed-t2"}, start, end, step))
			all, err := j.Curves(context.Background(), []journal.Curve{
				{Place: farm.Place{Bin: "bed", Zone: "near"}, Quantity: farm.Moisture}, {Probe: "nobody"}, {Probe: "bed-t2"},
			}, start, end, step)
			if err != nil || len(all[1]) > 0 {
				t.Fatalf("%s: a probe that is none said %v, %v", what, all[1], err)
			}
			nearly(t, what+": moisture, of several", all[0], slowly(events, []string{"bed-m"}, start, end, step))
			nearly(t, what+": one probe, of several", all[2], one)
		}
	}
	check("unpacked")
	now := end.Add(3 * 24 * time.Hour)
	if f := compactAll(t, j, now); f.Rows == 0 {
		t.Fatal("compaction packed nothing")
	}
	check("packed")
	events = append(events, fill(t, j, days(6, end.Add(-time.Hour), 2*time.Hour, 5*time.Minute))...)
	check("packed and unpacked in one hour")
}

// A device that was out of reach sends what it kept, stamped: it belongs into
// hours that are packed already.
func TestLateReadingsFindTheirHour(t *testing.T) {
	j := open(t, newPath(t))
	events := fill(t, j, days(7, start, 8*24*time.Hour, 30*time.Minute))
	now := start.Add(20 * 24 * time.Hour)
	compactAll(t, j, now)
	var late []farm.Event
	for at := start.Add(time.Hour); at.Before(start.Add(30 * time.Hour)); at = at.Add(20 * time.Minute) {
		e := reading("bed-t2", now, 25, 25)
		e.Reading.At, e.Reading.Stamped = at, true
		late = append(late, e)
	}
	events = append(events, fill(t, j, late)...)
	want := slowly(events, []string{"bed-t", "bed-t2"}, start, now, time.Hour)
	nearly(t, "while unpacked", samples(t, j, "bed", "near", farm.Temperature, start, now, time.Hour), want)
	compactAll(t, j, now.Add(20*24*time.Hour))
	nearly(t, "packed", samples(t, j, "bed", "near", farm.Temperature, start, now, time.Hour), want)
	same(t, "replay", replay(t, j, 0), events)
}

func TestKeepDropsReadingsAndNotHistory(t *testing.T) {
	j := open(t, newPath(t), keep(30*24*time.Hour))
	old := fill(t, j, days(8, start, 8*24*time.Hour, 30*time.Minute))
	appendEvents(t, j, farm.Event{Kind: farm.EventJot, Arrived: start.Add(9 * 24 * time.Hour), Jot: farm.Jot{At: start, Bin: "bed", What: farm.Turned}},
		farm.Event{Kind: farm.EventLink, Arrived: start.Add(9 * 24 * time.Hour)})
	later := start.Add(60 * 24 * time.Hour)
	compactAll(t, j, start.Add(20*24*time.Hour))
	if s, err := j.Sizes(t.Context()); err != nil || s.Events != 2 {
		t.Errorf("before: got %d events, %v; want two", s.Events, err)
	}
	want := samples(t, j, "bed", "near", farm.Temperature, start, later, time.Hour)
	fresh := fill(t, j, days(9, later, 8*24*time.Hour, 30*time.Minute))
	f := compactAll(t, j, later.Add(20*24*time.Hour))

	readings := int64(0)
	for _, e := range old {
		if e.Kind == farm.EventReading {
			readings++
		}
	}
	if f.Dropped != readings {
		t.Errorf("dropped: got %d, want %d", f.Dropped, readings)
	}
	got := replay(t, j, 0)
	if got[0].Kind != farm.EventJot || len(got) != 1+len(fresh) {
		t.Errorf("kept: got %d events, the first of kind %d; want the jot and %d", len(got), got[0].Kind, len(fresh))
	}
	if s, err := j.Sizes(t.Context()); err != nil || s.Events != 1 {
		t.Errorf("after: got %d events, %v; want the jot", s.Events, err)
	}
	nearly(t, "history of what was dropped", samples(t, j, "bed", "near", farm.Temperature, start, later, time.Hour), want)
	if first, err := j.FirstHeard(context.Background()); err != nil || !first["bed-t"].Equal(start.Truncate(24*time.Hour)) {
		t.Errorf("first heard %v, %v; want the first day of all", first["bed-t"], err)
	}
	nearly(t, "finer than is kept", samples(t, j, "bed", "near", farm.Temperature, start, later, 5*time.Minute), want)
}

// The sequence never goes back, or a reader's cursor would pass over new events.
func TestSequenceOutlivesWhatIsDropped(t *testing.T) {
	path := newPath(t)
	j := open(t, path, keep(24*time.Hour))
	last := fill(t, j, days(10, start, 8*24*time.Hour, time.Hour))
	compactAll(t, j, start.Add(300*24*time.Hour))
	j = reopen(t, j, path, keep(24*time.Hour))
	next := appendEvents(t, j, reading("bed-t", start.Add(301*24*time.Hour), 64, 18))[0].Seq
	if want := last[len(last)-1].Seq + 1; next != want {
		t.Errorf("next sequence number: got %d, want %d", next, want)
	}
}

func TestHistoryStaysWithTheZoneItWasMeasuredIn(t *testing.T) {
	path := newPath(t)
	j := open(t, path)
	appendEvents(t, j, reading("bed-t2", start, 18, 18))
	moved := nursery()
	moved.Bins[0].Zones[0].Probes = []string{"bed-t", "bed-m"}
	moved.Bins[0].Zones[1].Probes = []string{"bed-t2"}
	if err := j.SetFarm(context.Background(), moved); err != nil {
		t.Fatal(err)
	}
	appendEvents(t, j, reading("bed-t2", start.Add(time.Hour), 25, 25))
	at := func(zone string) []farm.Sample {
		return samples(t, j, "bed", zone, farm.Temperature, start, start.Add(2*time.Hour), time.Hour)
	}
	want := []farm.Sample{{At: start, Min: 18, Mean: 18, Max: 18, N: 1}}
	nearly(t, "where it was", at("near"), want)
	want = []farm.Sample{{At: start.Add(time.Hour), Min: 25, Mean: 25, Max: 25, N: 1}}
	nearly(t, "where it is", at("far"), want)
	if got, err := j.ProbeSamples(context.Background(), "bed-t2", start, start.Add(2*time.Hour), time.Hour); err != nil || len(got) != 2 {
		t.Errorf("the probe's own history: got %v, %v; want both hours", got, err)
	}
}

func TestSamplesOfNothing(t *testing.T) {
	j := open(t, newPath(t))
	ctx := context.Background()
	for name, ask := range map[string]func() ([]farm.Sample, error){
		"unknown bin": func() ([]farm.Sample, error) {
			return j.Samples(ctx, "no", "such", farm.Temperature, start, start.Add(time.Hour), 0)
		},
		"empty range": func() ([]farm.Sample, error) {
			return j.Samples(ctx, "bed", "near", farm.Temperature, start, start, time.Hour)
		},
		"turned round": func() ([]farm.Sample, error) {
			return j.Samples(ctx, "bed", "near", farm.Temperature, start, start.Add(-time.Hour), time.Hour)
		},
		"within a step": func() ([]farm.Sample, error) {
			return j.Samples(ctx, "bed", "near", farm.Temperature, start.Add(time.Minute), start.Add(2*time.Minute), time.Hour)
		},
		"unknown probe": func() ([]farm.Sample, error) { return j.ProbeSamples(ctx, "nobody", start, start.Add(time.Hour), 0) },
	} {
		t.Run(name, func(t *testing.T) {
			got, err := ask()
			if err != nil || len(got) != 0 {
				t.Errorf("got %v, %v; want nothing", got, err)
			}
		})
	}
	if _, err := j.Samples(ctx, "bed", "near", farm.Temperature, start.AddDate(-30, 0, 0), start, time.Second); err == nil {
		t.Error("a thousand million steps: got no error")
	}
}

// A chunk that the card has lost costs its own readings and nothing else.
func TestLostChunkIsPassedOver(t *testing.T) {
	path := newPath(t)
	j := open(t, path)
	events := fill(t, j, days(11, start, 8*24*time.Hour, 30*time.Minute))
	now := start.Add(20 * 24 * time.Hour)
	compactAll(t, j, now)
	fresh := fill(t, j, days(12, now, time.Hour, 10*time.Minute))
	hours := samples(t, j, "bed", "near", farm.Temperature, start, now, time.Hour)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	alter(t, path, `UPDATE chunk_body SET body = substr(body, 1, length(body) - 100)`)
	j = open(t, path)
	same(t, "what can be read", replay(t, j, 0), fresh)
	if got := j.Health().Lost; got != int64(len(events)) {
		t.Errorf("lost rows: got %d, want %d", got, len(events))
	}
	nearly(t, "history", samples(t, j, "bed", "near", farm.Temperature, start, now, time.Hour), hours)
	if _, err := journal.Verify(context.Background(), path); !errors.Is(err, journal.ErrDamaged) {
		t.Errorf("verify: got %v, want ErrDamaged", err)
	}
	if err := j.Backup(context.Background(), path+".copy"); !errors.Is(err, journal.ErrDamaged) {
		t.Errorf("backup: got %v, want ErrDamaged", err)
	}
	if _, err := os.Stat(path + ".copy"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a backup that is not whole was left: %v", err)
	}
}
