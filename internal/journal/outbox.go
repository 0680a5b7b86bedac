package journal

import (
	"context"
	"crypto/rand"
	"database/sql"
	"fmt"
	"time"

	"binwatchd/internal/farm"
)

func appendChanges(t *tx, b *Batch) {
	for i := range b.Changes {
		c := &b.Changes[i]
		c.Seq = t.head.next - 1
		if len(b.Entries) > 0 {
			c.Seq = b.Entries[c.Entry].Event.Seq
		}
		c.ID = t.exec(`INSERT INTO change (seq, at, bin, episode, eased, body) VALUES (?, ?, ?, ?, ?, ?)`,
			c.Seq, c.At.UnixMilli(), c.Bin, c.Episode, c.Change.Change == farm.Eased, asJSON(t, c.Change))
	}
}

const changeColumns = `id, seq, body`

func scanChange(c *Change, rows *sql.Rows) error {
	var text []byte
	if err := rows.Scan(&c.ID, &c.Seq, &text); err != nil {
		return err
	}
	return fromJSON(text, &c.Change, "change", c.ID)
}

// Standing gives the last change of every episode that is not eased, in the
// order in which those changes came.
func (j *Journal) Standing(ctx context.Context) ([]farm.Change, error) {
	return j.changes(ctx, "read standing conditions", "", `id IN (SELECT max(id) FROM change GROUP BY episode) AND NOT eased`)
}

// Changes gives the changes of one bin in [from, to), oldest first.
func (j *Journal) Changes(ctx context.Context, bin string, from, to time.Time) ([]farm.Change, error) {
	return j.changes(ctx, "read changes", bin, `at >= ? AND at < ?`, from.UnixMilli(), to.UnixMilli())
}

// A Notice is a change, and whether anybody was told of it.
type Notice struct {
	farm.Change
	Told bool
}

// Noticed gives all that was noticed, in the order in which that was.
func (j *Journal) Noticed(ctx context.Context) ([]Notice, error) {
	return viewed(ctx, j, "read what was noticed", func(t *tx) (out []Notice) {
		told := map[int64]bool{}
		for _, id := range collect(t, func(id *int64, rows *sql.Rows) error { return rows.Scan(id) },
			`SELECT DISTINCT change FROM owed WHERE fate IN ('told', 'summed')`) {
			told[id] = true
		}
		for _, c := range j.collectChanges(t, `true ORDER BY id`) {
			out = append(out, Notice{c.Change, told[c.ID]})
		}
		return out
	})
}

// changes gives those of a bin, or of all where none is named.
func (j *Journal) changes(ctx context.Context, what, bin, where string, args ...any) ([]farm.Change, error) {
	return viewed(ctx, j, what, func(t *tx) (out []farm.Change) {
		if n := j.names(t); bin != "" {
			of, more := n.where("seq", bin)
			where, args = of+` AND `+where, append(more, args...)
		}
		for _, c := range j.collectChanges(t, where+` ORDER BY id`, args...) {
			out = append(out, c.Change)
		}
		return out
	})
}

// collectChanges gives those that meet a condition and come in an order, both in SQL, in
// the names of now.
func (j *Journal) collectChanges(t *tx, where string, args ...any) []Change {
	found, n := collect(t, scanChange, `SELECT `+changeColumns+` FROM change WHERE `+where, args...), j.names(t)
	for i := range found {
		n.change(&found[i])
	}
	return found
}

func appendOwed(t *tx, b *Batch) {
	for _, o := range b.Owed {
		c := b.Changes[o.Change]
		created := c.At
		if len(b.Entries) > 0 {
			created = b.Entries[c.Entry].Event.Arrived
		}
		insertOwed(t, farm.Owed{Notice: o.Notice, Teller: o.Teller, ChangeID: c.ID, Change: c.Change,
			Created: created})
	}
}

func insertOwed(t *tx, o farm.Owed) {
	if o.Notice == "" {
		o.Notice = rand.Text() // no other notice has it, of this journal or another
	}
	if o.Next.IsZero() {
		o.Next = o.Created
	}
	t.exec(`INSERT INTO owed (notice, teller, change, episode, reminder, created, next) VALUES (?, ?, ?, ?, ?, ?, ?)`,
		o.Notice, o.Teller, o.ChangeID, o.Change.Episode, o.Reminder, o.Created.UnixMilli(), o.Next.UnixMilli())
}

// Owe adds notices about changes already kept, such as reminders: Teller,
// ChangeID and Created must be set; Next zero means at once, Notice "" that the
// journal makes one.
func (j *Journal) Owe(ctx context.Context, owed []farm.Owed) error {
	err := j.update(ctx, "owe", func(t *tx) {
		for _, o := range owed {
			if !t.get(into(&o.Change.Episode), `SELECT episode FROM change WHERE id = ?`, o.ChangeID) {
				t.fail(fmt.Errorf("there is no change %d", o.ChangeID))
			}
			insertOwed(t, o)
		}
	})
	if err == nil && len(owed) > 0 {
		j.signal()
	}
	return err
}

// Owed gives what one recipient is still owed and is due at now, oldest first,
// at most limit of it.
func (j *Journal) Owed(ctx context.Context, teller string, now time.Time, limit int) ([]farm.Owed, error) {
	return j.owed(ctx, "next", `o.fate IS NULL AND o.teller = ? AND o.next <= ? ORDER BY o.id LIMIT ?`,
		teller, now.UnixMilli(), limit)
}

// ToldOf gives what one recipient has been told of an episode, oldest first,
// for threading and to know whether an easing is of interest. Next is the time
// at which it was told.
func (j *Journal) ToldOf(ctx context.Context, teller, episode string) ([]farm.Owed, error) {
	return j.owed(ctx, "settled", `o.fate IN ('told', 'summed') AND o.teller = ? AND o.episode = ? ORDER BY o.id`,
		teller, episode)
}

// ToldSince gives what one recipient was told from a time on, in the order in which that was; what
// was only told along with something else is left out. Next is the time at which it was told.
func (j *Journal) ToldSince(ctx context.Context, teller string, from time.Time) ([]farm.Owed, error) {
	return j.owed(ctx, "settled", `o.fate = 'told' AND o.teller = ? AND o.settled >= ? ORDER BY o.settled, o.id`, teller, from.UnixMilli())
}

func (j *Journal) owed(ctx context.Context, next, where string, args ...any) ([]farm.Owed, error) {
	state := `o.reminder, o.bundle`
	if j.older {
		state = `0, ''` // who opens it for reading sends nothing
	}
	return viewed(ctx, j, "read outbox", func(t *tx) []farm.Owed {
		n := j.names(t)
		return collect(t, func(o *farm.Owed, rows *sql.Rows) error {
			var text []byte
			var of Change
			if err := rows.Scan(&o.ID, &o.Notice, &o.Teller, &o.ChangeID, &o.Reminder, &o.Bundle,
				millis{&o.Created}, &o.Tries, millis{&o.Next}, &o.Trouble, &of.Seq, &text); err != nil {
				return err
			}
			err := fromJSON(text, &of.Change, "change", o.ChangeID)
			n.change(&of)
			o.Change = of.Change
			return err
		}, `SELECT o.id, o.notice, o.teller, o.change, `+state+`,
			o.created, o.tries, o.`+next+`, o.trouble, c.seq, c.body
		FROM owed o JOIN change c ON c.id = o.change WHERE `+where, args...)
	})
}

// Settle closes notices, all or none: they are owed no longer. One that is already
// settled keeps its fate.
func (j *Journal) Settle(ctx context.Context, at time.Time, ends ...farm.Fated) error {
	return j.update(ctx, "settle notices", func(t *tx) {
		for _, e := range ends {
			changeOwed(t, e.IDs, `fate = ?, settled = ?, trouble = '', bundle = ''`, string(e.Fate), at.UnixMilli())
		}
	})
}

// HandOver notes in which bundle notices are about to leave.
func (j *Journal) HandOver(ctx context.Context, ids []int64, bundle string) error {
	return j.update(ctx, "hand notices over", func(t *tx) { changeOwed(t, ids, `bundle = ?`, bundle) })
}

// Postpone counts an attempt that did not succeed and says when the next is due,
// in whichever bundle. The trouble is kept as it is given: it must hold no secret.
func (j *Journal) Postpone(ctx context.Context, ids []int64, next time.Time, trouble string) error {
	return j.update(ctx, "postpone notices", func(t *tx) {
		changeOwed(t, ids, `tries = tries + 1, next = ?, trouble = ?, bundle = ''`, next.UnixMilli(), trouble)
	})
}

func changeOwed(t *tx, ids []int64, set string, args ...any) {
	for _, id := range ids {
		t.exec(`UPDATE owed SET `+set+` WHERE id = ? AND fate IS NULL`, append(args[:len(args):len(args)], id)...)
	}
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
	scan := func(w *Waiting, rows *sql.Rows) error {
		return rows.Scan(&w.Teller, &w.N, &w.Tries, millis{&w.Oldest}, &w.Trouble)
	}
	return viewAll(ctx, j, "count outbox", scan, `SELECT w.teller, w.n, w.tries, o.created, o.trouble FROM
		(SELECT teller, count(*) AS n, max(tries) AS tries, min(id) AS oldest FROM owed WHERE fate IS NULL GROUP BY teller) w
		JOIN owed o ON o.id = w.oldest ORDER BY w.teller`)
}
