package journal

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"

	"binwatchd/internal/farm"
)

const insertOwed = `INSERT INTO owed (notice, teller, change, episode, created, next) VALUES (?, ?, ?, ?, ?, ?)`

func appendOwed(tx *tx, b *Batch) error {
	for _, o := range b.Owed {
		c := b.Changes[o.Change]
		created := c.At
		if len(b.Entries) > 0 {
			created = b.Entries[c.Entry].Event.Arrived
		}
		notice := o.Notice
		if notice == "" {
			notice = noticeID(tx.head.id, o.Teller, c.ID, created)
		}
		next := o.Next
		if next.IsZero() {
			next = created
		}
		if err := tx.exec(insertOwed, notice, o.Teller, c.ID, c.Episode, created.UnixMilli(), next.UnixMilli()); err != nil {
			return err
		}
	}
	return nil
}

// noticeID makes an identity that no other notice has, of this journal or
// another: a database restored from a backup must not give out an id again for
// something else, so the time goes into it.
func noticeID(journal, teller string, change int64, created time.Time) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\n%s\n%d\n%d", journal, teller, change, created.UnixMilli()))
	return hex.EncodeToString(sum[:12])
}

// Owe adds notices about changes already kept, such as reminders: Teller,
// ChangeID and Created must be set; Next zero means at once, Notice "" that the
// journal makes one.
func (j *Journal) Owe(ctx context.Context, owed []farm.Owed) error {
	err := j.update(ctx, "owe", func(tx *tx) error {
		for _, o := range owed {
			if err := oweAgain(tx, o); err != nil {
				return err
			}
		}
		return nil
	})
	if err == nil && len(owed) > 0 {
		j.signal()
	}
	return err
}

func oweAgain(tx *tx, o farm.Owed) error {
	var episode string
	if err := tx.row(`SELECT episode FROM change WHERE id = ?`, o.ChangeID).Scan(&episode); err != nil {
		return fmt.Errorf("change %d: %w", o.ChangeID, err)
	}
	if o.Notice == "" {
		o.Notice = noticeID(tx.head.id, o.Teller, o.ChangeID, o.Created)
	}
	if o.Next.IsZero() {
		o.Next = o.Created
	}
	return tx.exec(insertOwed, o.Notice, o.Teller, o.ChangeID, episode, o.Created.UnixMilli(), o.Next.UnixMilli())
}

const selectOwed = `SELECT o.id, o.notice, o.teller, o.change, o.created, o.tries, o.next, o.trouble, c.body
	FROM owed o JOIN change c ON c.id = o.change `

// Owed gives what one recipient is still owed and is due at now, oldest first,
// at most limit of it.
func (j *Journal) Owed(ctx context.Context, teller string, now time.Time, limit int) ([]farm.Owed, error) {
	return j.owed(ctx, selectOwed+`WHERE o.teller = ? AND o.fate IS NULL AND o.next <= ? ORDER BY o.id LIMIT ?`,
		teller, now.UnixMilli(), limit)
}

// ToldOf gives what one recipient has been told of an episode, oldest first,
// for threading and to know whether an easing is of interest. Next is the time
// at which it was told.
func (j *Journal) ToldOf(ctx context.Context, teller, episode string) ([]farm.Owed, error) {
	const told = `SELECT o.id, o.notice, o.teller, o.change, o.created, o.tries, o.settled, o.trouble, c.body
		FROM owed o JOIN change c ON c.id = o.change
		WHERE o.teller = ? AND o.episode = ? AND o.fate IN ('told', 'summed') ORDER BY o.id`
	return j.owed(ctx, told, teller, episode)
}

func (j *Journal) owed(ctx context.Context, query string, args ...any) ([]farm.Owed, error) {
	var out []farm.Owed
	err := j.view(ctx, "read outbox", func(t *sql.Tx) error {
		rows, err := t.QueryContext(ctx, query, args...)
		out, err = collect(rows, err, scanOwed)
		return err
	})
	return out, err
}

func scanOwed(rows *sql.Rows) (farm.Owed, error) {
	var o farm.Owed
	var created, next int64
	var text []byte
	if err := rows.Scan(&o.ID, &o.Notice, &o.Teller, &o.ChangeID, &created, &o.Tries, &next, &o.Trouble, &text); err != nil {
		return o, err
	}
	o.Created, o.Next = instant(created), instant(next)
	if err := json.Unmarshal(text, &o.Change); err != nil {
		return o, fmt.Errorf("%w: change %d: %w", ErrDamaged, o.ChangeID, err)
	}
	return o, nil
}

// Settle closes notices: they are owed no longer. One that is already settled
// keeps its fate.
func (j *Journal) Settle(ctx context.Context, ids []int64, fate farm.Fate, at time.Time) error {
	return j.update(ctx, "settle notices", func(tx *tx) error {
		for _, id := range ids {
			if err := tx.exec(`UPDATE owed SET fate = ?, settled = ?, trouble = '' WHERE id = ? AND fate IS NULL`,
				string(fate), at.UnixMilli(), id); err != nil {
				return err
			}
		}
		return nil
	})
}

// Postpone counts an attempt that did not succeed and says when the next is due.
// The trouble is kept as it is given: it must hold no secret.
func (j *Journal) Postpone(ctx context.Context, ids []int64, next time.Time, trouble string) error {
	return j.update(ctx, "postpone notices", func(tx *tx) error {
		for _, id := range ids {
			if err := tx.exec(`UPDATE owed SET tries = tries + 1, next = ?, trouble = ? WHERE id = ? AND fate IS NULL`,
				next.UnixMilli(), trouble, id); err != nil {
				return err
			}
		}
		return nil
	})
}

// Waiting is what one recipient is owed.
type Waiting struct {
	Teller  string
	N       int64
	Oldest  time.Time // when the oldest came to be owed
	Tries   int       // most attempts made for one of them
	Trouble string    // what the last attempt for the oldest met
}

// Waiting gives what is owed to each recipient that is owed anything, by key.
func (j *Journal) Waiting(ctx context.Context) ([]Waiting, error) {
	var out []Waiting
	err := j.view(ctx, "count outbox", func(t *sql.Tx) error {
		rows, err := t.QueryContext(ctx, `SELECT w.teller, w.n, w.tries, o.created, o.trouble FROM
			(SELECT teller, count(*) AS n, max(tries) AS tries, min(id) AS oldest FROM owed WHERE fate IS NULL GROUP BY teller) w
			JOIN owed o ON o.id = w.oldest ORDER BY w.teller`)
		out, err = collect(rows, err, func(rows *sql.Rows) (Waiting, error) {
			var w Waiting
			var oldest int64
			err := rows.Scan(&w.Teller, &w.N, &w.Tries, &oldest, &w.Trouble)
			w.Oldest = instant(oldest)
			return w, err
		})
		return err
	})
	return out, err
}
