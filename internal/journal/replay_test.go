package journal_test

import (
	"context"
	"fmt"
	"maps"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// forwardAll reads the journal as the forwarder does.
func forwardAll(t *testing.T, j *journal.Journal, limit int) (events []farm.Event, changes []farm.Change, last int64) {
	t.Helper()
	for {
		s, err := j.Forward(context.Background(), last, limit)
		if err != nil {
			t.Fatal(err)
		}
		if len(s.Events) > limit {
			t.Fatalf("got %d events, asked for %d", len(s.Events), limit)
		}
		if s.Last == last {
			if len(s.Events)+len(s.Changes) > 0 {
				t.Fatalf("at the end: got %+v", s)
			}
			return events, changes, last
		}
		events, changes, last = append(events, s.Events...), append(changes, s.Changes...), s.Last
	}
}

func TestForwardGivesEveryReadingOnce(t *testing.T) {
	j := open(t, newPath(t))
	all := fill(t, j, days(18, start, 8*24*time.Hour, 30*time.Minute))
	now := start.Add(20 * 24 * time.Hour)
	compactAll(t, j, now)
	all = append(all, fill(t, j, days(19, now, time.Hour, time.Minute))...)
	all = append(all, appendEvents(t, j, farm.Event{Kind: farm.EventJot, Arrived: now, Jot: farm.Jot{At: now, Bin: "bed", What: farm.Turned}},
		farm.Event{Kind: farm.EventLink, Arrived: now})...)
	for i := range 3 {
		appendChange(t, j, change(fmt.Sprint("e", i), farm.Raised, now))
	}
	end, err := j.Last(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	want := []farm.Event{}
	for _, e := range all {
		if e.Kind == farm.EventReading || e.Kind == farm.EventJot {
			want = append(want, e)
		}
	}
	for _, limit := range []int{7, 100, 100_000} {
		events, changes, last := forwardAll(t, j, limit)
		same(t, fmt.Sprint("events by ", limit), events, want)
		if len(changes) != 3 || last != end {
			t.Errorf("by %d: got %d changes up to %d, want 3 up to %d", limit, len(changes), last, end)
		}
	}
	if n, err := j.Behind(context.Background(), end-2); err != nil || n != 2 {
		t.Errorf("behind: got %d, %v; want 2", n, err)
	}
}

// Two jots that are alike in all that tells points apart are told apart by their order.
func TestForwardTellsAlikeJotsApart(t *testing.T) {
	j := open(t, newPath(t))
	jot := func(bin, zone string, what farm.JotKind, kg float64, at time.Time) farm.Event {
		return farm.Event{Kind: farm.EventJot, Arrived: start.Add(time.Hour), Jot: farm.Jot{At: at, Bin: bin, Zone: zone, What: what, Kg: kg}}
	}
	all := appendEvents(t, j, jot("bed", "near", farm.Fed, 2, start), jot("bed", "near", farm.Fed, 2, start),
		jot("bed", "near", farm.Watered, 0, start), jot("bed", "", farm.Fed, 2, start), jot("crate", "near", farm.Fed, 2, start),
		jot("bed", "near", farm.Fed, 1, start.Add(time.Minute)), jot("bed", "near", farm.Fed, 5, start))
	want := map[int64]int{all[1].Seq: 1, all[6].Seq: 2}
	for _, limit := range []int{0, 100} {
		st, err := j.Forward(t.Context(), 0, limit)
		if err != nil || !maps.Equal(st.Alike, want) {
			t.Errorf("at most %d: got %v, %v; want %v", limit, st.Alike, err, want)
		}
	}
	st, err := j.Forward(t.Context(), all[5].Seq, 1) // whatever was handed on before
	if want := map[int64]int{all[6].Seq: 2}; err != nil || !maps.Equal(st.Alike, want) {
		t.Errorf("later: got %v, %v; want %v", st.Alike, err, want)
	}
}

func TestReadingsAndSpanByTime(t *testing.T) {
	j := open(t, newPath(t))
	all := fill(t, j, days(20, start, 8*24*time.Hour, 30*time.Minute))
	now := start.Add(20 * 24 * time.Hour)
	compactAll(t, j, now)
	all = append(all, fill(t, j, days(21, now, time.Hour, time.Minute))...)
	for name, r := range map[string][2]time.Time{
		"all":       {start.Add(-time.Hour), now.Add(24 * time.Hour)},
		"packed":    {start.Add(30 * time.Hour), start.Add(90 * time.Hour)},
		"unpacked":  {now.Add(10 * time.Minute), now.Add(20 * time.Minute)},
		"over both": {start.Add(100 * time.Hour), now.Add(20 * time.Minute)},
		"between":   {start.Add(10 * 24 * time.Hour), start.Add(11 * 24 * time.Hour)},
		"later":     {now.Add(48 * time.Hour), now.Add(50 * time.Hour)},
	} {
		t.Run(name, func(t *testing.T) {
			want, got := []farm.Event{}, []farm.Event{}
			var first, last int64
			for _, e := range all {
				if e.Kind == farm.EventReading && !e.Reading.At.Before(r[0]) && e.Reading.At.Before(r[1]) {
					want = append(want, e)
				}
				if !e.Arrived.Before(r[0]) && e.Arrived.Before(r[1]) {
					if first == 0 {
						first = e.Seq
					}
					last = e.Seq
				}
			}
			err := j.Readings(context.Background(), r[0], r[1], func(e farm.Event) error {
				got = append(got, e)
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			same(t, "readings", got, want)
			f, l, err := j.Span(context.Background(), r[0], r[1])
			if err != nil || f != first || l != last {
				t.Errorf("span: got %d..%d, %v; want %d..%d", f, l, err, first, last)
			}
		})
	}
}

// A clock that was wrong for a while leaves arrivals that fall; what arrived
// before and after is found all the same, packed or not.
func TestSpanReachesPastAWrongClock(t *testing.T) {
	j := open(t, newPath(t))
	before := fill(t, j, days(22, start, 3*time.Hour, 30*time.Minute))
	ahead := fill(t, j, days(23, start.AddDate(10, 0, 0), 3*time.Hour, 30*time.Minute))
	after := fill(t, j, days(24, start.Add(24*time.Hour), 3*time.Hour, 30*time.Minute))
	for _, packed := range []bool{false, true} {
		if packed {
			compactAll(t, j, start.AddDate(11, 0, 0))
		}
		first, last, err := j.Span(context.Background(), start, start.Add(48*time.Hour))
		if err != nil || first != before[0].Seq || last != after[len(after)-1].Seq {
			t.Errorf("packed %t: got %d..%d, %v; want %d..%d", packed, first, last, err, before[0].Seq, after[len(after)-1].Seq)
		}
		first, last, err = j.Span(context.Background(), start.AddDate(9, 0, 0), start.AddDate(11, 0, 0))
		if err != nil || first != ahead[0].Seq || last < ahead[len(ahead)-1].Seq {
			t.Errorf("packed %t, ahead: got %d..%d, %v; want %d to at least %d", packed, first, last, err, ahead[0].Seq, ahead[len(ahead)-1].Seq)
		}
	}
}

func TestReplayStopsAtTheCallersError(t *testing.T) {
	j := open(t, newPath(t))
	fill(t, j, days(22, start, time.Hour, time.Minute))
	n := 0
	err := j.Replay(context.Background(), 0, func(farm.Event) error {
		n++
		if n == 5 {
			return errPulled
		}
		return nil
	})
	if err != errPulled || n != 5 {
		t.Errorf("got %v after %d events, want the caller's own error after 5", err, n)
	}
}

func TestCursorsAreByName(t *testing.T) {
	ctx := context.Background()
	path := newPath(t)
	j := open(t, path)
	if at, err := j.Cursor(ctx, "influx"); err != nil || at != 0 {
		t.Errorf("before it was set: got %d, %v; want 0", at, err)
	}
	for name, to := range map[string]int64{"influx": 12, "rounds": 3} {
		if err := j.SetCursor(ctx, name, to); err != nil {
			t.Fatal(err)
		}
	}
	if err := j.SetCursor(ctx, "influx", 14); err != nil {
		t.Fatal(err)
	}
	j = reopen(t, j, path)
	for name, want := range map[string]int64{"influx": 14, "rounds": 3} {
		if got, err := j.Cursor(ctx, name); err != nil || got != want {
			t.Errorf("%s: got %d, %v; want %d", name, got, err, want)
		}
	}
}

func TestParkedRowsAreBounded(t *testing.T) {
	ctx := context.Background()
	j := open(t, newPath(t))
	var rows []farm.Parked
	for i := range 1200 {
		rows = append(rows, farm.Parked{At: start, Line: fmt.Sprint("row ", i), Reason: "field type conflict"})
	}
	if err := j.Park(ctx, rows); err != nil {
		t.Fatal(err)
	}
	got, total, err := j.Parked(ctx, 5000)
	if err != nil || total != 1200 || len(got) != 1000 || got[0].Line != "row 1199" || !got[0].At.Equal(start) {
		t.Errorf("got %d of %d, newest %+v, %v; want 1000 of 1200, newest row 1199", len(got), total, got[0], err)
	}
	// An entry may stand for many rows; it takes the place of one.
	if err := j.Park(ctx, []farm.Parked{{At: start, Line: "row 1200", Reason: "beyond retention policy", Rows: 4000}}); err != nil {
		t.Fatal(err)
	}
	got, total, err = j.Parked(ctx, 5000)
	if err != nil || total != 5200 || len(got) != 1000 || got[0].Line != "row 1200" || got[999].Line != "row 201" {
		t.Errorf("got %d of %d, from %+v to %+v, %v; want 1000 of 5200, from row 1200 to row 201", len(got), total, got[0], got[len(got)-1], err)
	}
}

func TestSizesCountWhatThereIs(t *testing.T) {
	ctx := context.Background()
	j := open(t, newPath(t))
	s, err := j.Sizes(ctx)
	if err != nil || s.Packed+s.Unpacked+s.Events+s.Last != 0 || !s.Oldest.IsZero() || s.FileBytes == 0 {
		t.Errorf("of a new journal: got %+v, %v", s, err)
	}
	all := fill(t, j, days(23, start, 8*24*time.Hour, 30*time.Minute))
	appendEvents(t, j, farm.Event{Kind: farm.EventStart, Arrived: start})
	s, err = j.Sizes(ctx)
	if err != nil || s.Unpacked != int64(len(all)) || s.Events != 1 || s.Packed != 0 || !s.Oldest.Equal(all[0].Arrived) {
		t.Errorf("before packing: got %+v, %v; want %d unpacked", s, err, len(all))
	}
	readings := int64(0)
	for _, e := range all {
		if e.Kind == farm.EventReading {
			readings++
		}
	}
	compactAll(t, j, start.Add(20*24*time.Hour))
	s, err = j.Sizes(ctx)
	if err != nil || s.Packed != readings || s.Unpacked != 0 || s.FreeBytes == 0 || !s.Oldest.Equal(all[0].Arrived) {
		t.Errorf("after packing: got %+v, %v; want %d packed", s, err, readings)
	}
	for want := range int64(3) { // it counts on from where it was
		if s, err = j.Sizes(ctx); err != nil || s.Events != 1+want {
			t.Errorf("got %d events, %v; want %d", s.Events, err, 1+want)
		}
		appendEvents(t, j, farm.Event{Kind: farm.EventLink, Arrived: start.Add(20 * 24 * time.Hour)})
	}
}
