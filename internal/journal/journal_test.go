package journal_test

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// start is when the invented farm of these tests began to be watched.
var start = time.Date(2025, 3, 1, 6, 0, 0, 0, time.UTC)

// nursery is a small farm: a bed with air, two zones and a twin, and a crate.
func nursery() *farm.Farm {
	return &farm.Farm{
		Name:     "Hillfoot Nursery",
		Location: time.UTC,
		Probes: []farm.Probe{
			{ID: "bed-t", Measures: farm.Temperature, Unit: farm.Fahrenheit},
			{ID: "bed-t2", Measures: farm.Temperature},
			{ID: "bed-m", Measures: farm.Moisture, Unit: farm.RawUnit},
			{ID: "glass-air", Measures: farm.Temperature},
			{ID: "crate-b", Measures: farm.Battery},
		},
		Bins: []farm.Bin{
			{Name: "bed", Ambient: "glass-air", Zones: []farm.Zone{
				{Name: "near", Probes: []string{"bed-t", "bed-t2", "bed-m"}},
				{Name: "far"},
			}},
			{Name: "crate", Zones: []farm.Zone{{Name: "all", Probes: []string{"crate-b"}}}},
		},
	}
}

type option func(*journal.Config)

func config(path string, options ...option) journal.Config {
	cfg := journal.Config{Path: path, Now: func() time.Time { return start }}
	for _, o := range options {
		o(&cfg)
	}
	return cfg
}

func keep(d time.Duration) option { return func(c *journal.Config) { c.Keep = d } }

func newPath(t testing.TB) string { return filepath.Join(t.TempDir(), "journal.db") }

func open(t testing.TB, path string, options ...option) *journal.Journal {
	t.Helper()
	j, err := journal.Open(context.Background(), config(path, options...))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	if err := j.SetFarm(context.Background(), nursery()); err != nil {
		t.Fatal(err)
	}
	return j
}

func reopen(t testing.TB, j *journal.Journal, path string, options ...option) *journal.Journal {
	t.Helper()
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	return open(t, path, options...)
}

func appendEvents(t testing.TB, j *journal.Journal, events ...farm.Event) []farm.Event {
	t.Helper()
	b := &journal.Batch{}
	for _, e := range events {
		b.Entries = append(b.Entries, journal.Entry{Event: e})
	}
	if err := j.Append(context.Background(), b); err != nil {
		t.Fatal(err)
	}
	out := make([]farm.Event, len(events))
	for i, e := range b.Entries {
		out[i] = e.Event
	}
	return out
}

func replay(t testing.TB, j *journal.Journal, after int64) []farm.Event {
	t.Helper()
	out := []farm.Event{}
	err := j.Replay(context.Background(), after, func(e farm.Event) error {
		out = append(out, e)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// same compares events bit by bit, all that are not numbers being alike.
func same(t interface {
	Helper()
	Fatalf(format string, args ...any)
}, what string, got, want any) {
	t.Helper()
	bits := cmp.Comparer(func(a, b float64) bool {
		return math.Float64bits(a) == math.Float64bits(b) || math.IsNaN(a) && math.IsNaN(b)
	})
	if d := cmp.Diff(want, got, bits); d != "" {
		t.Fatalf("%s (-want +got):\n%s", what, d)
	}
}

func reading(probe string, at time.Time, raw, value float64) farm.Event {
	return farm.Event{Arrived: at, Kind: farm.EventReading, Reading: farm.Reading{Probe: probe, At: at, Raw: raw, Value: value}}
}

// days makes what the farm's probes say in a stretch of time: a bed that swings
// with the day, a soil probe in raw counts, an air probe that stamps its own
// times, a battery, and now and then something odd. The same seed makes the same.
func days(seed uint64, from time.Time, long, every time.Duration) []farm.Event {
	rng := rand.New(rand.NewPCG(seed, 1))
	var out []farm.Event
	for at := from; at.Before(from.Add(long)); at = at.Add(every) {
		swing := 4 * math.Sin(2*math.Pi*at.Sub(start).Hours()/24)
		f := math.Round((64+swing*1.8)*10) / 10
		out = append(out, reading("bed-t", later(rng, at), f, farm.CelsiusOf(f)))
		c := math.Round((18+swing)/0.0625) * 0.0625
		out = append(out, reading("bed-t2", later(rng, at), c, c))
		raw := math.Round(1800 + 20*rng.NormFloat64())
		out = append(out, reading("bed-m", later(rng, at), raw, 12+(2850-raw)*(84-12)/(2850-1420)))
		air := reading("glass-air", later(rng, at), c+2, c+2)
		air.Reading.At, air.Reading.Stamped = at, true
		out = append(out, air)
		if rng.IntN(50) == 0 {
			out = append(out, odd(rng, later(rng, at)))
		}
		if at.Minute() == 0 {
			out = append(out, farm.Event{Kind: farm.EventTick, Arrived: later(rng, at)})
		}
	}
	return rising(out)
}

func later(rng *rand.Rand, at time.Time) time.Time {
	return at.Add(time.Duration(200+rng.IntN(900)) * time.Millisecond)
}

// rising makes times of arrival rise, as journal time does.
func rising(events []farm.Event) []farm.Event {
	for i := range events {
		if i > 0 && events[i].Arrived.Before(events[i-1].Arrived) {
			events[i].Arrived = events[i-1].Arrived
		}
		if events[i].Kind == farm.EventReading && !events[i].Reading.Stamped {
			events[i].Reading.At = events[i].Arrived
		}
	}
	return events
}

func odd(rng *rand.Rand, at time.Time) farm.Event {
	e := reading("crate-b", at, 3.7, 3.7)
	switch rng.IntN(4) {
	case 0:
		e.Reading.Raw, e.Reading.Value, e.Reading.Doubt = 85, 85, farm.FaultCode
	case 1:
		e.Reading.Raw, e.Reading.Value, e.Reading.Doubt = math.NaN(), math.NaN(), farm.NotANumber
	case 2:
		e.Reading.Uncertain = true
	case 3:
		e.Reading.Raw, e.Reading.Misdated = math.Inf(-1), true
	}
	return e
}

// fill appends events in batches and gives them back as appended.
func fill(t testing.TB, j *journal.Journal, events []farm.Event) []farm.Event {
	t.Helper()
	var out []farm.Event
	for i := 0; i < len(events); i += 200 {
		out = append(out, appendEvents(t, j, events[i:min(i+200, len(events))]...)...)
	}
	return out
}

func TestReplayGivesBackEveryKindOfEvent(t *testing.T) {
	path := newPath(t)
	j := open(t, path)
	at := start.Add(1234 * time.Millisecond)
	want := appendEvents(t, j,
		farm.Event{Kind: farm.EventStart, Arrived: at},
		farm.Event{Kind: farm.EventLink, Arrived: at, Up: true},
		farm.Event{Kind: farm.EventLink, Arrived: at, Up: true, Backlog: farm.Marked},
		farm.Event{Kind: farm.EventCaught, Arrived: at},
		reading("bed-t", at, 64.2, farm.CelsiusOf(64.2)),
		farm.Event{Kind: farm.EventTick, Arrived: at.Add(time.Minute)},
		farm.Event{Kind: farm.EventReading, Arrived: at, Reading: farm.Reading{
			Probe: "not-in-the-farm", At: at.Add(-time.Hour), Raw: math.Inf(1), Value: math.NaN(), Doubt: farm.NotANumber,
			Stamped: true, Misdated: true, Uncertain: true, Retained: true}},
		reading("bed-t2", at, 0, 1e300),
		farm.Event{Kind: farm.EventJot, Arrived: at, Jot: farm.Jot{At: at, Bin: "bed", Zone: "near", What: farm.Fed, Kg: 2, Of: "grain", By: "mqtt"}},
		farm.Event{Kind: farm.EventHush, Arrived: at, Hush: farm.Hush{Bin: "bed", Condition: farm.TooHot, Until: at.Add(time.Hour)}},
		farm.Event{Kind: farm.EventSeen, Arrived: at, Seen: farm.Seen{Episode: "e-1"}},
		farm.Event{Kind: farm.EventWeather, Arrived: at, Weather: &farm.Weather{Topic: "weather/hours", Hours: []farm.WeatherHour{{At: at, TempC: 3.5}}}},
		farm.Event{Kind: farm.EventTrouble, Arrived: at, Trouble: farm.Trouble{Condition: farm.Unforwarded, Text: "the database refuses"}},
		farm.Event{Kind: farm.EventClock, Arrived: at, Shift: -90 * time.Second},
	)
	same(t, "before reopening", replay(t, j, 0), want)
	j = reopen(t, j, path)
	same(t, "after reopening", replay(t, j, 0), want)
	same(t, "from the middle", replay(t, j, want[6].Seq), want[7:])
}

func TestPackedReplayIsTheSame(t *testing.T) {
	path := newPath(t)
	j := open(t, path)
	want := fill(t, j, days(1, start, 10*24*time.Hour, 30*time.Minute))
	now := start.Add(12 * 24 * time.Hour)
	packed := compactAll(t, j, now)
	if packed.Rows == 0 || packed.Chunks == 0 {
		t.Fatalf("compaction packed nothing: %+v", packed)
	}
	want = append(want, fill(t, j, days(2, now, 24*time.Hour, 10*time.Minute))...)
	same(t, "after packing", replay(t, j, 0), want)
	for _, after := range []int64{1, 1000, want[len(want)/2].Seq, want[len(want)-1].Seq} {
		same(t, fmt.Sprintf("after %d", after), replay(t, j, after), want[after:])
	}
	j = reopen(t, j, path)
	same(t, "after reopening", replay(t, j, 0), want)
}

// compactAll compacts until there is nothing more to pack at that time.
func compactAll(t testing.TB, j *journal.Journal, now time.Time) journal.Compacted {
	t.Helper()
	var sum journal.Compacted
	for range 3 { // turn, pack and clear, turn again
		f, err := j.Compact(context.Background(), now, true)
		if err != nil {
			t.Fatal(err)
		}
		sum.Rows, sum.Chunks, sum.Dropped = sum.Rows+f.Rows, sum.Chunks+f.Chunks, sum.Dropped+f.Dropped
	}
	return sum
}

// alter changes a closed journal behind its back.
func alter(t testing.TB, path, query string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(query); err != nil {
		t.Fatal(err)
	}
}
