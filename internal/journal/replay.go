package journal

import (
	"context"
	"fmt"
	"iter"
	"math"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// Replay calls fn for every event after a sequence number, in journal order, and
// stops at its first error, which it returns as it is. Memory does not grow with
// the length of the journal, and fn may use the journal itself. Events appended
// while it runs are met too.
func (j *Journal) Replay(ctx context.Context, after int64, fn func(farm.Event) error) error {
	for {
		var s stretch
		err := j.view(ctx, "replay", func(t *tx) { s = j.readStretch(t, after, math.MaxInt64) })
		if err != nil {
			return err
		}
		for e, err := range s.events() {
			if err != nil {
				return fmt.Errorf("replay: %w", err)
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
}

// readStretch reads the stretch after a sequence number, which ends with its page,
// or at end where no page follows.
func (j *Journal) readStretch(t *tx, after, end int64) (s stretch) {
	s.page = j.readPage(t, after)
	if !s.more {
		s.last = max(end, after)
	}
	s.others = eventsBetween(t, after, s.last)
	s.all = j.series.load(t)
	return s
}

// events puts rows and other events, each in order, into one order. An event is
// a large thing, so they are made one at a time.
func (s *stretch) events() iter.Seq2[farm.Event, error] {
	return func(yield func(farm.Event, error) bool) {
		others := s.others
		for _, r := range s.rows {
			for len(others) > 0 && others[0].Seq < r.seq {
				if !yield(others[0], nil) {
					return
				}
				others = others[1:]
			}
			if !yield(r.event(s.all)) {
				return
			}
		}
		for _, e := range others {
			if !yield(e, nil) {
				return
			}
		}
	}
}

// Forward gives what stands after a sequence number for passing on elsewhere, at
// most limit events of it (0: as many as come easily). When the answer's Last is
// the number asked from, there is no more.
func (j *Journal) Forward(ctx context.Context, after int64, limit int) (farm.Stretch, error) {
	out := farm.Stretch{Last: after}
	err := j.view(ctx, "forward", func(t *tx) {
		s := j.readStretch(t, after, t.number(`SELECT `+newest))
		if t.err != nil {
			return
		}
		var err error
		out.Events, out.Last, err = s.worth(limit)
		t.fail(err)
		for _, c := range changesCausedBy(t, after+1, out.Last) {
			out.Changes = append(out.Changes, c.Change)
		}
	})
	return out, err
}

// worth gives the first readings and jots of a stretch and the sequence number
// up to which that is all of them.
func (s *stretch) worth(limit int) (events []farm.Event, last int64, err error) {
	most := len(s.rows) + len(s.others)
	if limit > 0 {
		most = min(most, limit)
	}
	events = make([]farm.Event, 0, most)
	for e, err := range s.events() {
		if err != nil {
			return nil, 0, err
		}
		if e.Kind != farm.EventReading && e.Kind != farm.EventJot {
			continue
		}
		if events = append(events, e); len(events) == limit {
			return events, e.Seq, nil
		}
	}
	return events, s.last, nil
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
			all = j.series.load(t)
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
	err = j.view(ctx, "find time", func(t *tx) {
		first, last = j.arrived(t, lowest, from.UnixMilli()), j.arrived(t, highest, to.UnixMilli())
	})
	if first == 0 || last < first {
		return 0, 0, err
	}
	return first, last, err
}

// An edge says which end of a range of arrivals is sought, in SQL.
type edge struct{ pick, is, chunk, order string }

var (
	lowest  = edge{"min", ">=", "arrived_hi", "first"}     // that arrived at a time or later
	highest = edge{"max", "<", "arrived_lo", "first DESC"} // that arrived before a time
)

// arrived gives the sequence number at an edge, 0 when there is none.
func (j *Journal) arrived(t *tx, e edge, ms int64) int64 {
	other := t.number(`SELECT `+e.pick+`(seq) FROM (
		SELECT seq FROM unpacked WHERE seq > ?1 AND arrived `+e.is+` ?2
		UNION ALL SELECT seq FROM event WHERE arrived `+e.is+` ?2)`, t.number(packedTo), ms)
	seq := j.arrivedPacked(t, e, ms)
	if seq == 0 || other == 0 || e == highest {
		return max(seq, other)
	}
	return min(seq, other)
}

// arrivedPacked looks for an edge in the chunks. One that can't be read counts
// as a whole.
func (j *Journal) arrivedPacked(t *tx, e edge, ms int64) int64 {
	found := chunks(t, e.chunk+` `+e.is+` ? ORDER BY `+e.order+` LIMIT 1`, ms)
	if len(found) == 0 {
		return 0
	}
	rows := j.readOrPass(t, found[0])
	if e == lowest {
		if i := slices.IndexFunc(rows, func(r row) bool { return r.arrived >= ms }); i >= 0 {
			return rows[i].seq
		}
		return found[0].first
	}
	for _, r := range slices.Backward(rows) {
		if r.arrived < ms {
			return r.seq
		}
	}
	return found[0].last
}
