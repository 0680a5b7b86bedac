package journal

import (
	"context"
	"database/sql"
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
		events, next, more, err := j.stretch(ctx, after)
		if err != nil {
			return err
		}
		for _, e := range events {
			if err := fn(e); err != nil {
				return err
			}
		}
		if !more {
			return nil
		}
		after = next
	}
}

// stretch gives the events of the next page.
func (j *Journal) stretch(ctx context.Context, after int64) (events []farm.Event, next int64, more bool, err error) {
	err = j.view(ctx, "replay", func(t *sql.Tx) error {
		p, err := j.readPage(ctx, t, after)
		if err != nil {
			return err
		}
		to := p.last
		if !p.more {
			to = math.MaxInt64
		}
		others, err := eventsBetween(ctx, t, after, to)
		if err != nil {
			return err
		}
		all, err := j.series.load(ctx, t)
		if err != nil {
			return err
		}
		next, more = p.last, p.more
		events, err = merge(p.rows, others, all)
		return err
	})
	return events, next, more, err
}

// merge puts rows and other events, each in order, into one order.
func merge(rows []row, others []farm.Event, all []series) ([]farm.Event, error) {
	out := make([]farm.Event, 0, len(rows)+len(others))
	for _, r := range rows {
		for len(others) > 0 && others[0].Seq < r.seq {
			out, others = append(out, others[0]), others[1:]
		}
		e, err := r.event(all)
		if err != nil {
			return nil, err
		}
		out = append(out, e)
	}
	return append(out, others...), nil
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
