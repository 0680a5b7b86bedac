package journal

import (
	"context"
	"database/sql"
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
		s, err := j.stretch(ctx, after)
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

func (j *Journal) stretch(ctx context.Context, after int64) (s stretch, err error) {
	err = j.view(ctx, "replay", func(t *sql.Tx) error {
		if s.page, err = j.readPage(ctx, t, after); err != nil {
			return err
		}
		to := s.last
		if !s.more {
			to = math.MaxInt64
		}
		if s.others, err = eventsBetween(ctx, t, after, to); err != nil {
			return err
		}
		s.all, err = j.series.load(ctx, t)
		return err
	})
	return s, err
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

// Readings calls fn for every raw reading that is still kept and was measured in
// [from, to), in journal order, and stops at its first error.
func (j *Journal) Readings(ctx context.Context, from, to time.Time, fn func(farm.Event) error) error {
	lo, hi := from.UnixMilli(), to.UnixMilli()
	after := int64(0)
	for {
		var p page
		var all []series
		err := j.view(ctx, "read readings", func(t *sql.Tx) (err error) {
			if after, err = skipChunks(ctx, t, after, lo, hi); err != nil {
				return err
			}
			if p, err = j.readPage(ctx, t, after); err != nil {
				return err
			}
			all, err = j.series.load(ctx, t)
			return err
		})
		if err != nil {
			return err
		}
		if err := eachWithin(p.rows, lo, hi, all, fn); err != nil {
			return err
		}
		if !p.more {
			return nil
		}
		after = p.last
	}
}

func eachWithin(rows []row, lo, hi int64, all []series, fn func(farm.Event) error) error {
	for _, r := range rows {
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
	return nil
}

// skipChunks gives the sequence number after which the next rows measured in
// [lo, hi) can stand.
func skipChunks(ctx context.Context, q querier, after, lo, hi int64) (int64, error) {
	var next int64
	err := q.QueryRowContext(ctx, `SELECT coalesce(
		(SELECT min(first) - 1 FROM chunk WHERE last > ?1 AND at_hi >= ?2 AND at_lo < ?3),
		(SELECT max(last) FROM chunk), 0)`, after, lo, hi).Scan(&next)
	return max(next, after), err
}

// Span gives the first and last sequence number of what arrived in [from, to);
// both are 0 when nothing did. Where a wrong clock has left arrivals that fall
// along the journal, some between the two may have arrived at other times.
func (j *Journal) Span(ctx context.Context, from, to time.Time) (first, last int64, err error) {
	err = j.view(ctx, "find time", func(t *sql.Tx) error {
		if first, err = j.arrived(ctx, t, lowest, from.UnixMilli()); err != nil {
			return err
		}
		last, err = j.arrived(ctx, t, highest, to.UnixMilli())
		return err
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
func (j *Journal) arrived(ctx context.Context, q querier, e edge, ms int64) (int64, error) {
	packed, err := packedTo(ctx, q)
	if err != nil {
		return 0, err
	}
	var other sql.NullInt64
	err = q.QueryRowContext(ctx, `SELECT `+e.pick+`(seq) FROM (
		SELECT seq FROM unpacked WHERE seq > ?1 AND arrived `+e.is+` ?2
		UNION ALL SELECT seq FROM event WHERE arrived `+e.is+` ?2)`, packed, ms).Scan(&other)
	if err != nil {
		return 0, err
	}
	seq, err := j.arrivedPacked(ctx, q, e, ms)
	switch {
	case !other.Valid:
		return seq, err
	case seq == 0:
		return other.Int64, err
	case e == lowest:
		return min(seq, other.Int64), err
	}
	return max(seq, other.Int64), err
}

// arrivedPacked looks for an edge in the chunks. One that can't be read counts
// as a whole.
func (j *Journal) arrivedPacked(ctx context.Context, q querier, e edge, ms int64) (int64, error) {
	rows, err := q.QueryContext(ctx, `SELECT `+chunkColumns+` FROM chunk WHERE `+e.chunk+` `+e.is+` ? ORDER BY `+e.order+` LIMIT 1`, ms)
	chunks, err := collect(rows, err, scanChunk)
	if err != nil || len(chunks) == 0 {
		return 0, err
	}
	packed, err := j.readOrPass(ctx, q, chunks[0])
	if e == lowest {
		for _, r := range packed {
			if r.arrived >= ms {
				return r.seq, err
			}
		}
		return chunks[0].first, err
	}
	for _, r := range slices.Backward(packed) {
		if r.arrived < ms {
			return r.seq, err
		}
	}
	return chunks[0].last, err
}
