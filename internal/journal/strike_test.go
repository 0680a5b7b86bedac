package journal_test

import (
	"context"
	"errors"
	"path/filepath"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// A line that is struck is replayed, shown and forwarded no more, and stays on disk. The
// snapshots that hold it go; the newest before it is what a rebuild begins with.
func TestALineIsStruck(t *testing.T) {
	ctx, at := context.Background(), time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC)
	j, err := journal.Open(ctx, journal.Config{Path: filepath.Join(t.TempDir(), "journal.db"), Now: func() time.Time { return at }})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	write := func(snapshot string, all ...farm.Event) {
		t.Helper()
		b := &journal.Batch{}
		for _, e := range all {
			e.Arrived = at
			b.Entries = append(b.Entries, journal.Entry{Event: e})
		}
		if snapshot != "" {
			b.Snapshot = &journal.Snapshot{Version: 1, Taken: at, Rules: []byte(snapshot)}
		}
		if err := j.Append(ctx, b); err != nil {
			t.Fatal(err)
		}
	}
	jotted := func(litres float64) farm.Event {
		return farm.Event{Kind: farm.EventJot, Jot: farm.Jot{At: at, Bin: "bed", What: farm.Watered, Litres: litres}}
	}
	write("before", jotted(1))
	write("with it", jotted(2))
	write("since", jotted(3))
	lines, err := j.LastLines(ctx, 10)
	if err != nil || len(lines) != 3 || lines[1].Litres != 2 || lines[1].ID != 2 {
		t.Fatalf("got %+v, %v", lines, err)
	}
	write("", farm.Event{Kind: farm.EventStrike, Strike: farm.Strike{Line: 2, By: "page"}})

	s, ok, err := j.Snapshot(ctx)
	if err != nil || !ok || string(s.Rules) != "before" || s.Seq != 1 {
		t.Errorf("got the snapshot %q of %d, %v, want that before the line", s.Rules, s.Seq, err)
	}
	var seen []int64
	if err := j.Replay(ctx, 0, func(e farm.Event) error { seen = append(seen, e.Seq); return nil }); err != nil || len(seen) != 3 || seen[1] != 3 {
		t.Errorf("replayed %v, %v, want 1, 3 and the strike", seen, err)
	}
	gone, err := j.Struck(ctx, "bed", at, at.Add(time.Hour))
	if err != nil || len(gone) != 1 || gone[0].Line != 2 || gone[0].Jot.Litres != 2 || gone[0].By != "page" || !gone[0].At.Equal(at) {
		t.Errorf("struck are %+v, %v, want the second line, by the page", gone, err)
	}
	if gone, err = j.Struck(ctx, "crate", at, at.Add(time.Hour)); err != nil || len(gone) != 0 {
		t.Errorf("of another bin are struck %+v, %v", gone, err)
	}
	if all, err := j.Logbook(ctx, at, at.Add(time.Hour)); err != nil || len(all) != 1 || len(all["bed"]) != 2 {
		t.Errorf("the logbook of all has %v, %v, want the two lines that are left", all, err)
	}
	if lines, err = j.Jots(ctx, "bed", at, at.Add(time.Hour)); err != nil || len(lines) != 2 {
		t.Errorf("shown are %+v, %v", lines, err)
	}
	st, err := j.Forward(ctx, 0, 0)
	if err != nil || len(st.Events) != 3 || st.Events[2].Strike.Jot.Litres != 2 || st.Alike[4] != 1 {
		t.Errorf("forwarded are %+v, %v, want the strike with its line, the second alike", st, err)
	}
	for _, id := range []int64{2, 4, 99} {
		if _, err := j.Line(ctx, id); !errors.Is(err, journal.ErrNoLine) {
			t.Errorf("line %d: %v, want none", id, err)
		}
	}
}

// The first snapshot of a day is kept for two weeks, that of a week for a season, the
// newest two in any case: so much has to be replayed for a line that is struck.
func TestSnapshotsOfDaysAreKept(t *testing.T) {
	ctx, begun := context.Background(), time.Date(2026, 1, 1, 3, 0, 0, 0, time.UTC)
	at := begun
	j, err := journal.Open(ctx, journal.Config{Path: filepath.Join(t.TempDir(), "journal.db"), Now: func() time.Time { return at }})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	lines := map[time.Time]int64{}
	for ; at.Before(begun.AddDate(0, 0, 150)); at = at.Add(6 * time.Hour) {
		b := &journal.Batch{
			Entries:  []journal.Entry{{Event: farm.Event{Kind: farm.EventJot, Arrived: at, Jot: farm.Jot{At: at, Bin: "bed", What: farm.Turned}}}},
			Snapshot: &journal.Snapshot{Version: 1, Taken: at, Rules: []byte("x")},
		}
		if err := j.Append(ctx, b); err != nil {
			t.Fatal(err)
		}
		lines[at] = b.Entries[0].Event.Seq
	}
	// The newest first: a strike takes away what is newer.
	for _, tt := range []struct{ ago, within time.Duration }{
		{6 * time.Hour, 25 * time.Hour}, {13 * 24 * time.Hour, 25 * time.Hour}, {40 * 24 * time.Hour, 8 * 24 * time.Hour}, {90 * 24 * time.Hour, 8 * 24 * time.Hour},
	} {
		line := at.Add(-tt.ago)
		strike := farm.Event{Kind: farm.EventStrike, Arrived: at, Strike: farm.Strike{Line: lines[line]}}
		if err := j.Append(ctx, &journal.Batch{Entries: []journal.Entry{{Event: strike}}}); err != nil {
			t.Fatal(err)
		}
		s, ok, err := j.Snapshot(ctx)
		if err != nil || !ok || s.Taken.After(line) || line.Sub(s.Taken) > tt.within {
			t.Errorf("for a line of %s ago: a snapshot of %s before it, %v, want within %s", tt.ago, line.Sub(s.Taken), err, tt.within)
		}
	}
}

// What came by a form is found by it after a restart too; the line of a list is found that
// somebody has ticked since, unless it was struck.
func TestWhatAFormAsksForStandsAlready(t *testing.T) {
	ctx, at := context.Background(), time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC)
	path := filepath.Join(t.TempDir(), "journal.db")
	open := func() *journal.Journal {
		t.Helper()
		j, err := journal.Open(ctx, journal.Config{Path: path, Now: func() time.Time { return at }})
		if err != nil {
			t.Fatal(err)
		}
		return j
	}
	j := open()
	write := func(e farm.Event) {
		t.Helper()
		e.Arrived = at
		if err := j.Append(ctx, &journal.Batch{Entries: []journal.Entry{{Event: e}}}); err != nil {
			t.Fatal(err)
		}
	}
	watered := func(once, zone string, since int64) farm.Event {
		return farm.Event{Kind: farm.EventJot, Once: once, Since: since, Jot: farm.Jot{At: at, Bin: "bed", Zone: zone, What: farm.Watered, By: "Ann"}}
	}
	turned := watered("", "near", 1)
	turned.Jot.What = farm.Turned
	write(farm.Event{Kind: farm.EventStart})
	write(watered("a", "near", 0)) // 2
	write(farm.Event{Kind: farm.EventHush, Once: "h", Hush: farm.Hush{Bin: "bed"}})
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	j = open()
	defer j.Close()
	check := func(name string, e farm.Event, seq int64, own bool) {
		t.Helper()
		got, err := j.Already(ctx, e)
		if err != nil || (got != nil) != (seq > 0) || got != nil && (got.Seq != seq || got.Own != own) {
			t.Errorf("%s: got %+v, %v, want %d, its own: %v", name, got, err, seq, own)
		}
	}
	check("sent twice", watered("a", "near", 0), 2, true)
	check("sent twice from a list", watered("a", "near", 1), 2, true)
	check("another form", watered("b", "near", 0), 0, false)
	check("no form", watered("", "near", 0), 0, false)
	check("a quiet time sent twice", farm.Event{Kind: farm.EventHush, Once: "h"}, 3, true)
	check("ticked on a list from before", watered("b", "near", 1), 2, false)
	check("on a list from after", watered("b", "near", 2), 0, false)
	check("of another zone", watered("b", "far", 1), 0, false)
	check("of another act", turned, 0, false)
	write(farm.Event{Kind: farm.EventStrike, Strike: farm.Strike{Line: 2}})
	check("that was struck", watered("b", "near", 1), 0, false)
	check("sent twice, and struck between", watered("a", "near", 1), 2, true)
}
