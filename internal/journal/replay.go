package journal

import (
	"cmp"
	"context"
	"fmt"
	"iter"
	"math"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// Replay calls fn for every event after a sequence number, in journal order, and
// stops at its first error, which it returns as it is. Lines of the logbook that were
// struck are left out. Memory does not grow with
// the length of the journal, and fn may use the journal itself. Events appended
// while it runs are met too.
func (j *Journal) Replay(ctx context.Context, after int64, fn func(farm.Event) error) error {
	gone, err := viewed(ctx, j, "replay", struck)
	if err != nil {
		return err
	}
	for {
		s, err := viewed(ctx, j, "replay", func(t *tx) stretch { return j.readStretch(t, after, math.MaxInt64) })
		if err != nil {
			return err
		}
		for e, err := range s.events() {
			if err != nil {
				return fmt.Errorf("replay: %w", err)
			}
			if e.Kind == farm.EventJot && gone[e.Seq] {
				continue
			}
			if err := fn(e); err != nil {
				return err
			}
		}
		if !s.more {
			return nil
		}
		after = s.last
	}
}

// A stretch is a page with the other events that stand among its rows.
type stretch struct {
	page
	others []farm.Event
	all    []series
	names  *register
}

// readStretch reads the stretch after a sequence number, which ends with its page,
// or at end where no page follows.
func (j *Journal) readStretch(t *tx, after, end int64) (s stretch) {
	s.page = j.readPage(t, after)
	if !s.more {
		s.last = max(end, after)
	}
	s.others = eventsBetween(t, after, s.last)
	s.all, s.names = j.loadSeries(t), j.names(t)
	return s
}

// events puts rows and other events, each in order, into one order. An event is
// a large thing, so they are made one at a time.
func (s *stretch) events() iter.Seq2[farm.Event, error] {
	return func(yield func(farm.Event, error) bool) {
		for rows, others := s.rows, s.others; len(rows)+len(others) > 0; {
			if len(rows) == 0 || len(others) > 0 && others[0].Seq < rows[0].seq {
				s.names.event(&others[0])
				if !yield(others[0], nil) {
					return
				}
				others = others[1:]
				continue
			}
			if !yield(rows[0].event(s.all)) {
				return
			}
			rows = rows[1:]
		}
	}
}

// Forward gives what stands after a sequence number for passing on elsewhere, at
// most limit events of it (0: as many as come easily). When the answer's Last is
// the number asked from, there is no more.
func (j *Journal) Forward(ctx context.Context, after int64, limit int) (farm.Stretch, error) {
	return viewed(ctx, j, "forward", func(t *tx) farm.Stretch {
		s := j.readStretch(t, after, t.number(`SELECT `+newest))
		gone := struck(t)
		s.others = slices.DeleteFunc(s.others, func(e farm.Event) bool { return e.Kind == farm.EventJot && gone[e.Seq] })
		out := s.worth(t, limit)
		for _, c := range j.collectChanges(t, `seq BETWEEN ? AND ? ORDER BY id`, after+1, out.Last) {
			out.Changes = append(out.Changes, c.Change)
		}
		for i := range out.Events {
			if e := &out.Events[i]; e.Kind == farm.EventStrike {
				for _, line := range eventsBetween(t, e.Strike.Line-1, e.Strike.Line) {
					e.Strike.Jot = line.Jot
					s.names.jot(&e.Strike.Jot, line.Seq)
				}
			}
		}
		out.Alike = s.names.alike(t, out.Events)
		return out
	})
}

// Past gives the jots and the changes of [from, to) by their own times, oldest first.
func (j *Journal) Past(ctx context.Context, from, to time.Time) (farm.Stretch, error) {
	return viewed(ctx, j, "read conditions and logbook", func(t *tx) (out farm.Stretch) {
		lo, hi := from.UnixMilli(), to.UnixMilli()
		n := j.names(t)
		out.Events = collect(t, scanEvent, `SELECT `+eventColumns+` FROM event WHERE bin IS NOT NULL AND at >= ? AND at < ? ORDER BY at, seq`, lo, hi)
		for i := range out.Events {
			n.event(&out.Events[i])
		}
		for _, c := range j.collectChanges(t, `at >= ? AND at < ? ORDER BY at, id`, lo, hi) {
			out.Changes = append(out.Changes, c.Change)
		}
		out.Alike = n.alike(t, out.Events)
		return out
	})
}

// alike counts the jots that stand before those of a stretch and are of the same act,
// place and instant.
func (n *register) alike(t *tx, events []farm.Event) map[int64]int {
	counts := map[int64]int{}
	for _, e := range events {
		j, seq := e.Jot, e.Seq
		if e.Kind == farm.EventStrike {
			j, seq = e.Strike.Jot, e.Strike.Line
		}
		if e.Kind == farm.EventJot || e.Kind == farm.EventStrike {
			where, args := n.where("seq", j.Bin)
			for _, o := range collect(t, scanEvent, `SELECT `+eventColumns+` FROM event WHERE `+where+` AND at = ? AND seq < ?`, append(args, j.At.UnixMilli(), seq)...) {
				if n.event(&o); o.Jot.What == j.What && o.Jot.Zone == j.Zone {
					counts[e.Seq]++
				}
			}
		}
	}
	return counts
}

// forwarded are the kinds of events that a database is told of.
var forwarded = []farm.EventKind{farm.EventReading, farm.EventJot, farm.EventStrike, farm.EventStock}

// worth gives the first readings and jots of a stretch and the sequence number
// up to which that is all of them.
func (s *stretch) worth(t *tx, limit int) farm.Stretch {
	most := len(s.rows) + len(s.others)
	if limit > 0 {
		most = min(most, limit)
	}
	events := make([]farm.Event, 0, most)
	for e, err := range s.events() {
		if t.fail(err); t.err != nil {
			break
		}
		if !slices.Contains(forwarded, e.Kind) {
			continue
		}
		if events = append(events, e); len(events) == limit {
			return farm.Stretch{Events: events, Last: e.Seq}
		}
	}
	return farm.Stretch{Events: events, Last: s.last}
}

// Readings calls fn for every raw reading that is still kept and was measured in
// [from, to), in journal order, and stops at its first error.
func (j *Journal) Readings(ctx context.Context, from, to time.Time, fn func(farm.Event) error) error {
	lo, hi := from.UnixMilli(), to.UnixMilli()
	for p := (page{more: true}); p.more; {
		var all []series
		err := j.view(ctx, "read readings", func(t *tx) {
			// No chunk that holds nothing of that time is unpacked.
			next := t.number(`SELECT coalesce(
				(SELECT min(first) - 1 FROM chunk WHERE last > ?1 AND at_hi >= ?2 AND at_lo < ?3),
				(SELECT max(last) FROM chunk))`, p.last, lo, hi)
			p = j.readPage(t, max(next, p.last))
			all = j.loadSeries(t)
		})
		if err != nil {
			return err
		}
		for _, r := range p.rows {
			if r.series == tickSeries || r.at() < lo || r.at() >= hi {
				continue
			}
			e, err := r.event(all)
			if err != nil {
				return err
			}
			if err := fn(e); err != nil {
				return err
			}
		}
	}
	return nil
}

// Span gives the first and last sequence number of what arrived in [from, to);
// both are 0 when nothing did. Where a wrong clock has left arrivals that fall
// along the journal, some between the two may have arrived at other times.
func (j *Journal) Span(ctx context.Context, from, to time.Time) (first, last int64, err error) {
	lo, hi := from.UnixMilli(), to.UnixMilli()
	err = j.view(ctx, "find time", func(t *tx) {
		t.get(into(&first, &last), `SELECT coalesce(min(seq), 0), coalesce(max(seq), 0) FROM (
			SELECT seq, arrived FROM unpacked WHERE seq > ?1 UNION ALL SELECT seq, arrived FROM event)
			WHERE arrived >= ?2 AND arrived < ?3`, t.number(packedTo), lo, hi)
		found := chunks(t, `arrived_hi >= ? AND arrived_lo < ? ORDER BY first`, lo, hi)
		for _, c := range found {
			if n, _ := j.spanOf(t, c, lo, hi); n != 0 {
				first = min(n, cmp.Or(first, n))
				break
			}
		}
		for _, c := range slices.Backward(found) {
			if _, n := j.spanOf(t, c, lo, hi); n != 0 {
				last = max(n, last)
				break
			}
		}
	})
	return first, last, err
}

// spanOf is Span within a chunk. One that can't be read counts as a whole.
func (j *Journal) spanOf(t *tx, c chunkInfo, lo, hi int64) (first, last int64) {
	rows := j.readOrPass(t, c)
	if len(rows) == 0 {
		return c.first, c.last
	}
	for _, r := range rows {
		if lo <= r.arrived && r.arrived < hi {
			first, last = cmp.Or(first, r.seq), r.seq
		}
	}
	return first, last
}
