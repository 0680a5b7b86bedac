package journal

import (
	"context"
	"database/sql"
	"fmt"
	"iter"
	"math"
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
// both are 0 when nothing did. It is exact where arrival times rise along the
// journal.
func (j *Journal) Span(ctx context.Context, from, to time.Time) (first, last int64, err error) {
	err = j.view(ctx, "find time", func(t *sql.Tx) error {
		if first, err = j.firstArrived(ctx, t, from.UnixMilli()); err != nil {
			return err
		}
		last, err = j.firstArrived(ctx, t, to.UnixMilli())
		last--
		return err
	})
	if last < first {
		return 0, 0, err
	}
	return first, last, err
}

// firstArrived gives the lowest sequence number that arrived at ms or later, or
// the next to be given when none did.
func (j *Journal) firstArrived(ctx context.Context, q querier, ms int64) (int64, error) {
	packed, err := packedTo(ctx, q)
	if err != nil {
		return 0, err
	}
	seq, err := lastSeq(ctx, q)
	if err != nil {
		return 0, err
	}
	seq++
	var other sql.NullInt64
	err = q.QueryRowContext(ctx, `SELECT min(seq) FROM (
		SELECT seq FROM unpacked WHERE seq > ?1 AND arrived >= ?2
		UNION ALL SELECT seq FROM event WHERE arrived >= ?2)`, packed, ms).Scan(&other)
	if err != nil {
		return 0, err
	}
	if other.Valid {
		seq = min(seq, other.Int64)
	}
	packedSeq, found, err := j.firstPacked(ctx, q, ms)
	if found {
		seq = min(seq, packedSeq)
	}
	return seq, err
}

func (j *Journal) firstPacked(ctx context.Context, q querier, ms int64) (seq int64, found bool, err error) {
	rows, err := q.QueryContext(ctx, `SELECT `+chunkColumns+` FROM chunk WHERE arrived_hi >= ? ORDER BY first LIMIT 1`, ms)
	chunks, err := collect(rows, err, scanChunk)
	if err != nil || len(chunks) == 0 {
		return 0, false, err
	}
	packed, err := j.readOrPass(ctx, q, chunks[0])
	for _, r := range packed {
		if r.arrived >= ms {
			return r.seq, true, err
		}
	}
	return chunks[0].first, true, err
}
