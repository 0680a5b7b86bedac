package journal

import (
	"context"
	"database/sql"
	"errors"
	"math"
	"time"

	"binwatchd/internal/farm"
)

// A Stretch is a piece of the journal to pass on.
type Stretch struct {
	Events  []farm.Event // readings and jots, in journal order
	Changes []Change     // that these and other events of the stretch caused
	Last    int64        // the cursor after it; the one asked from when there is nothing
}

// Forward gives what stands after a sequence number for passing on elsewhere, at
// most limit events of it (0: as many as come easily). When the answer's Last is
// the number asked from, there is no more.
func (j *Journal) Forward(ctx context.Context, after int64, limit int) (Stretch, error) {
	out := Stretch{Last: after}
	err := j.view(ctx, "forward", func(t *sql.Tx) error {
		s, err := j.stretchToForward(ctx, t, after)
		if err != nil {
			return err
		}
		if out.Events, out.Last, err = s.worth(limit); err != nil {
			return err
		}
		found, err := t.QueryContext(ctx, `SELECT id, seq, body FROM change WHERE seq > ? AND seq <= ? ORDER BY id`, after, out.Last)
		out.Changes, err = collect(found, err, scanChange)
		return err
	})
	return out, err
}

// stretchToForward gives the next stretch, which ends at the end of its page or
// of the journal.
func (j *Journal) stretchToForward(ctx context.Context, q querier, after int64) (s stretch, err error) {
	if s.page, err = j.readPage(ctx, q, after); err != nil {
		return s, err
	}
	if !s.more {
		end, err := lastSeq(ctx, q)
		if err != nil {
			return s, err
		}
		s.last = max(end, after)
	}
	if s.others, err = eventsBetween(ctx, q, after, s.last); err != nil {
		return s, err
	}
	s.all, err = j.series.load(ctx, q)
	return s, err
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

// Cursor gives how far a reader of the journal has got; 0 when it has not begun.
func (j *Journal) Cursor(ctx context.Context, name string) (int64, error) {
	var seq int64
	err := j.view(ctx, "read cursor", func(t *sql.Tx) error {
		err := t.QueryRowContext(ctx, `SELECT seq FROM cursor WHERE name = ?`, name).Scan(&seq)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		return err
	})
	return seq, err
}

// SetCursor notes how far a reader has got. It is a commit like any other, one
// or two pages and a sync, so a reader should call it for many readings at once.
func (j *Journal) SetCursor(ctx context.Context, name string, to int64) error {
	return j.update(ctx, "set cursor", func(tx *tx) error {
		return tx.exec(`INSERT INTO cursor (name, seq) VALUES (?, ?) ON CONFLICT DO UPDATE SET seq = excluded.seq`, name, to)
	})
}

// Behind gives how many events a reader of the journal that has got to cursor
// has before it.
func (j *Journal) Behind(ctx context.Context, cursor int64) (int64, error) {
	last, err := j.Last(ctx)
	return max(0, last-cursor), err
}

// maxParked bounds the refused rows that are kept, newest first.
const maxParked = 1000

// A Parked row is one that a database refused for good.
type Parked struct {
	ID     int64     // how many rows had been refused with it
	At     time.Time // of the refusal
	Line   string    // as it was sent
	Reason string    // what the database said
	Rows   int       // given to Park: how many rows it stands for, 0 is one
}

// Park keeps rows that a database refused, for a person to look at. Only the
// newest thousand stay; of many at once the others are counted and never written.
func (j *Journal) Park(ctx context.Context, rows []Parked) error {
	return j.update(ctx, "park rows", func(tx *tx) error {
		id, err := rowsParked(ctx, tx)
		if err != nil {
			return err
		}
		for i, r := range rows {
			if id += int64(max(1, r.Rows)); i < len(rows)-maxParked {
				continue
			}
			if err := tx.exec(`INSERT INTO parked (id, at, line, reason) VALUES (?, ?, ?, ?)`, id, r.At.UnixMilli(), r.Line, r.Reason); err != nil {
				return err
			}
		}
		return tx.exec(`DELETE FROM parked WHERE id <= (SELECT id FROM parked ORDER BY id DESC LIMIT 1 OFFSET ?)`, maxParked)
	})
}

// rowsParked gives how many rows were refused in all.
func rowsParked(ctx context.Context, q querier) (n int64, err error) {
	err = q.QueryRowContext(ctx, `SELECT coalesce(max(id), 0) FROM parked`).Scan(&n)
	return n, err
}

// Parked gives the newest refused rows, newest first, and how many were refused
// in all.
func (j *Journal) Parked(ctx context.Context, limit int) (newest []Parked, total int64, err error) {
	err = j.view(ctx, "read parked rows", func(t *sql.Tx) error {
		if total, err = rowsParked(ctx, t); err != nil {
			return err
		}
		rows, err := t.QueryContext(ctx, `SELECT id, at, line, reason FROM parked ORDER BY id DESC LIMIT ?`, min(limit, math.MaxInt32))
		newest, err = collect(rows, err, func(rows *sql.Rows) (Parked, error) {
			var p Parked
			var at int64
			err := rows.Scan(&p.ID, &at, &p.Line, &p.Reason)
			p.At = instant(at)
			return p, err
		})
		return err
	})
	return newest, total, err
}
