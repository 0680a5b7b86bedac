package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	"binwatchd/internal/farm"
)

func appendChanges(tx *tx, b *Batch) error {
	for i := range b.Changes {
		c := &b.Changes[i]
		c.Seq = tx.head.next - 1
		if len(b.Entries) > 0 {
			c.Seq = b.Entries[c.Entry].Event.Seq
		}
		text, err := json.Marshal(c.Change)
		if err != nil {
			return err
		}
		c.ID, err = tx.insert(`INSERT INTO change (seq, at, bin, episode, eased, body) VALUES (?, ?, ?, ?, ?, ?)`,
			c.Seq, c.At.UnixMilli(), c.Bin, c.Episode, c.Change.Change == farm.Eased, string(text))
		if err != nil {
			return err
		}
	}
	return nil
}

// Standing gives the last change of every episode that is not eased, in the
// order in which those changes came.
func (j *Journal) Standing(ctx context.Context) ([]farm.Change, error) {
	return j.changes(ctx, "read standing conditions", `SELECT id, seq, body FROM change
		WHERE id IN (SELECT max(id) FROM change GROUP BY episode) AND NOT eased ORDER BY id`)
}

// Recent gives the changes of all bins since a time, oldest first.
func (j *Journal) Recent(ctx context.Context, since time.Time) ([]farm.Change, error) {
	return j.changes(ctx, "read changes", `SELECT id, seq, body FROM change WHERE at >= ? ORDER BY id`, since.UnixMilli())
}

// Changes gives the changes of one bin in [from, to), oldest first.
func (j *Journal) Changes(ctx context.Context, bin string, from, to time.Time) ([]farm.Change, error) {
	return j.changes(ctx, "read changes", `SELECT id, seq, body FROM change WHERE bin = ? AND at >= ? AND at < ? ORDER BY id`,
		bin, from.UnixMilli(), to.UnixMilli())
}

func (j *Journal) changes(ctx context.Context, what, query string, args ...any) ([]farm.Change, error) {
	var out []farm.Change
	err := j.view(ctx, what, func(t *sql.Tx) error {
		rows, err := t.QueryContext(ctx, query, args...)
		out, err = collect(rows, err, func(rows *sql.Rows) (farm.Change, error) {
			c, err := scanChange(rows)
			return c.Change, err
		})
		return err
	})
	return out, err
}

func scanChange(rows *sql.Rows) (Change, error) {
	var c Change
	var text []byte
	if err := rows.Scan(&c.ID, &c.Seq, &text); err != nil {
		return c, err
	}
	if err := json.Unmarshal(text, &c.Change); err != nil {
		return c, fmt.Errorf("%w: change %d: %w", ErrDamaged, c.ID, err)
	}
	return c, nil
}

// Jots gives the logbook of one bin in [from, to) by the jots' own times, oldest
// first. Castings sifted into the bin are in the logbook of the bin they came from.
func (j *Journal) Jots(ctx context.Context, bin string, from, to time.Time) ([]farm.Jot, error) {
	var out []farm.Jot
	err := j.view(ctx, "read logbook", func(t *sql.Tx) error {
		rows, err := t.QueryContext(ctx, `SELECT seq, arrived, kind, body FROM event
			WHERE bin = ? AND at >= ? AND at < ? ORDER BY at, seq`, bin, from.UnixMilli(), to.UnixMilli())
		out, err = collect(rows, err, func(rows *sql.Rows) (farm.Jot, error) {
			e, err := scanEvent(rows)
			return e.Jot, err
		})
		return err
	})
	return out, err
}
