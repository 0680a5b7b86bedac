package journal_test

import (
	"context"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// wrong gives events as a clock behind by shift stamps them.
func wrong(events []farm.Event, shift time.Duration) []farm.Event {
	out := make([]farm.Event, len(events))
	for i, e := range events {
		was := e.Arrived
		e.Arrived = was.Add(-shift)
		if e.Kind == farm.EventReading && !e.Reading.Stamped {
			e.Reading.At = e.Reading.At.Add(-shift)
		}
		if e.Kind == farm.EventJot && e.Jot.At.Equal(was) {
			e.Jot.At = e.Arrived
		}
		out[i] = e
	}
	return out
}

// A Pi without a battery clock starts in the past, journals for a week, and then
// learns the time: afterwards the journal is as if it had known all along,
// whether what it wrote was packed meanwhile or not.
func TestRestampIsAsIfTheClockHadBeenRight(t *testing.T) {
	for _, c := range []struct {
		name  string
		shift time.Duration
		pack  bool
	}{
		{"behind, unpacked", 55 * 365 * 24 * time.Hour, false},
		{"behind, packed", 55 * 365 * 24 * time.Hour, true},
		{"ahead, unpacked", -200 * 24 * time.Hour, false},
		{"ahead, packed", -200 * 24 * time.Hour, true},
		{"by a part of an hour, packed", 17*time.Minute + 1234*time.Millisecond, true},
	} {
		t.Run(c.name, func(t *testing.T) { restampCase(t, c.shift, c.pack) })
	}
}

func restampCase(t *testing.T, shift time.Duration, pack bool) {
	ctx := context.Background()
	before := days(13, start.Add(-9*24*time.Hour), 8*24*time.Hour, 30*time.Minute)
	stretch := append(days(14, start, 8*24*time.Hour, 30*time.Minute),
		farm.Event{Kind: farm.EventJot, Arrived: start.Add(200 * time.Hour), Jot: farm.Jot{At: start.Add(200 * time.Hour), Bin: "bed", What: farm.Turned}},
		farm.Event{Kind: farm.EventJot, Arrived: start.Add(200 * time.Hour), Jot: farm.Jot{At: start.Add(-time.Hour), Bin: "bed", What: farm.Fed, Kg: 1}},
		farm.Event{Kind: farm.EventLink, Arrived: start.Add(200 * time.Hour), Up: true})

	j := open(t, newPath(t))
	fill(t, j, before)
	kept := fill(t, j, wrong(stretch, shift))
	from, to := kept[0].Seq, kept[len(kept)-1].Seq
	now := start.Add(30 * 24 * time.Hour)
	if pack && compactAll(t, j, now.Add(max(0, -shift))).Rows == 0 {
		t.Fatal("compaction packed nothing")
	}
	samples(t, j, "bed", "near", farm.Temperature, start, now, time.Hour) // fills what is remembered of the wrong times
	appendEvents(t, j, farm.Event{Kind: farm.EventClock, Arrived: start.Add(201 * time.Hour), Shift: shift})
	if err := j.Restamp(ctx, from, to, shift); err != nil {
		t.Fatal(err)
	}

	right := open(t, newPath(t))
	want := append(fill(t, right, before), fill(t, right, stretch)...)
	want = append(want, appendEvents(t, right, farm.Event{Kind: farm.EventClock, Arrived: start.Add(201 * time.Hour)})...)
	same(t, "replay", replay(t, j, 0), want)
	for _, step := range []time.Duration{10 * time.Minute, time.Hour, 24 * time.Hour} {
		from := start.AddDate(0, 0, -20)
		nearly(t, "temperature each "+step.String(), samples(t, j, "bed", "near", farm.Temperature, from, now, step),
			samples(t, right, "bed", "near", farm.Temperature, from, now, step))
		nearly(t, "stamped air each "+step.String(), samples(t, j, "bed", "", farm.Temperature, from, now, step),
			samples(t, right, "bed", "", farm.Temperature, from, now, step))
	}
	if got := samples(t, j, "bed", "near", farm.Temperature, start.Add(-shift-time.Hour), start.Add(-shift+10*24*time.Hour), 24*time.Hour); shift > 24*time.Hour && len(got) != 0 {
		t.Errorf("left at the wrong time: %v", got)
	}
	jots, err := j.Jots(ctx, "bed", start.AddDate(-1, 0, 0), now)
	if err != nil || len(jots) != 2 || !jots[0].At.Equal(start.Add(-time.Hour)) || !jots[1].At.Equal(start.Add(200*time.Hour)) {
		t.Errorf("logbook: got %v, %v", jots, err)
	}
}

// Clock event, restamping and the snapshot after it in one transaction.
func TestRestampWithinABatch(t *testing.T) {
	ctx := context.Background()
	j := open(t, newPath(t))
	shift := 90 * 24 * time.Hour
	at := start.Add(-shift)
	since, crosses := at.Add(-time.Hour), at.Add(5*time.Hour)
	b := twoReadings(at)
	b.Changes[0].Since = since
	b.Changes[0].Forecast = &farm.Forecast{Crosses: crosses}
	b.Changes[0].Advice = &farm.Advice{Opens: &crosses}
	if err := j.Append(ctx, b); err != nil {
		t.Fatal(err)
	}
	err := j.Append(ctx, &journal.Batch{
		Entries: []journal.Entry{
			{Event: reading("bed-t", at.Add(time.Minute), 64, 18)},
			{Event: farm.Event{Kind: farm.EventClock, Arrived: start.Add(2 * time.Minute), Shift: shift}},
			{Event: reading("bed-t", start.Add(3*time.Minute), 64, 18)},
		},
		Restamp:  &journal.Restamp{From: 1, Shift: shift},
		Snapshot: &journal.Snapshot{Version: 3, Taken: start, Rules: []byte("after")},
	})
	if err != nil {
		t.Fatal(err)
	}
	var at3 []time.Time
	for _, e := range replay(t, j, 0) {
		at3 = append(at3, e.Arrived)
		if e.Shift != 0 {
			t.Errorf("a shift that is written back is told again: %v", e.Shift)
		}
	}
	same(t, "arrivals", at3, []time.Time{start, start, start.Add(time.Minute), start.Add(2 * time.Minute), start.Add(3 * time.Minute)})
	if s, ok, err := j.Snapshot(ctx); err != nil || !ok || s.Seq != 5 || string(s.Rules) != "after" {
		t.Errorf("snapshot: got %+v, %v, %v; want the one after the clock was put right", s, ok, err)
	}
	standing, err := j.Standing(ctx)
	if err != nil || len(standing) != 1 {
		t.Fatalf("standing: got %v, %v", standing, err)
	}
	c := standing[0]
	same(t, "times of the change", []time.Time{c.At, c.Since, c.Forecast.Crosses, *c.Advice.Opens},
		[]time.Time{start, start.Add(-time.Hour), start.Add(5 * time.Hour), start.Add(5 * time.Hour)})
}

// A snapshot taken while the clock was wrong has wrong times in it.
func TestRestampDropsSnapshotsOfTheStretch(t *testing.T) {
	ctx := context.Background()
	j := open(t, newPath(t))
	if err := j.Append(ctx, twoReadings(start)); err != nil {
		t.Fatal(err)
	}
	if err := j.Append(ctx, twoReadings(start)); err != nil {
		t.Fatal(err)
	}
	if err := j.Restamp(ctx, 3, 4, time.Hour); err != nil {
		t.Fatal(err)
	}
	if s, ok, err := j.Snapshot(ctx); err != nil || !ok || s.Seq != 2 {
		t.Errorf("snapshot: got seq %d, %v, %v; want that of before the stretch", s.Seq, ok, err)
	}
}

// A clock that jumps far ahead for an hour must not stop the packing of what
// comes after it.
func TestCompactionGoesOnAfterAJumpAhead(t *testing.T) {
	j := open(t, newPath(t))
	events := fill(t, j, days(15, start, 8*24*time.Hour, 30*time.Minute))
	events = append(events, fill(t, j, days(16, start.AddDate(70, 0, 0), time.Hour, 30*time.Minute))...)
	compactAll(t, j, start.Add(9*24*time.Hour)) // turns to the other table
	events = append(events, fill(t, j, days(17, start.Add(8*24*time.Hour), 4*24*time.Hour, 30*time.Minute))...)
	if f := compactAll(t, j, start.Add(12*24*time.Hour)); f.Rows == 0 {
		t.Error("compaction packed nothing")
	}
	same(t, "replay", replay(t, j, 0), events)
}

func TestRunsHaveTheirBootRecord(t *testing.T) {
	path := newPath(t)
	boot := journal.Boot{ID: "first", Offset: -1234 * time.Millisecond}
	j := open(t, path, func(c *journal.Config) { c.Boot = boot })
	appendEvents(t, j, farm.Event{Kind: farm.EventStart, Arrived: start})
	j = reopen(t, j, path)
	for query, want := range map[string]int64{
		`SELECT count(*) FROM run`: 2,
		`SELECT count(*) FROM run WHERE id = 1 AND boot = 'first' AND offset_ms = -1234 AND after_seq = 0 AND clean`: 1,
		`SELECT count(*) FROM run WHERE id = 2 AND boot = '' AND offset_ms = 0 AND after_seq = 1 AND NOT clean`:      1,
		`SELECT min(began) FROM run`: start.UnixMilli(),
	} {
		if got := ask(t, path, query); got != want {
			t.Errorf("%s: got %d, want %d", query, got, want)
		}
	}
	j.Close()
}

func TestReadBootIsTheKernels(t *testing.T) {
	a, err := journal.ReadBoot(start)
	if err != nil {
		t.Fatal(err)
	}
	b, err := journal.ReadBoot(start.Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	if a.ID == "" || a.ID != b.ID {
		t.Errorf("boot id: got %q and %q, want the same twice", a.ID, b.ID)
	}
	// An hour of wall clock and next to none of the monotonic one lie between.
	if d := b.Offset - a.Offset; d > time.Hour || d < 59*time.Minute {
		t.Errorf("offset moved by %s, want nearly an hour", d)
	}
}
