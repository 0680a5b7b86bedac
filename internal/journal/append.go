package journal

import (
	"context"
	"database/sql"
	"fmt"

	"binwatchd/internal/farm"
)

// Append writes the batch in one transaction and returns when it is on disk. It
// fills in the entries' Seq and the changes' Seq and ID. After an error nothing
// of the batch may be acknowledged, and the caller has to rebuild its state from
// Snapshot and Replay; the error wraps ErrFull, ErrReadOnly, ErrDisk or
// ErrDamaged where one of them is the cause.
func (j *Journal) Append(ctx context.Context, b *Batch) error {
	if err := b.check(); err != nil {
		return fmt.Errorf("append: %w", err)
	}
	if b.Restamp != nil {
		j.folding.Lock()
		defer j.folding.Unlock()
	}
	err := j.update(ctx, "append", func(tx *tx) error { return j.appendTx(tx, b) })
	if err != nil {
		return err
	}
	if len(b.Owed) > 0 {
		j.signal()
	}
	return nil
}

// check refuses a batch whose parts do not fit together.
func (b *Batch) check() error {
	for _, e := range b.Entries {
		if err := checkEvent(e.Event); err != nil {
			return err
		}
	}
	for i, c := range b.Changes {
		if len(b.Entries) > 0 && (c.Entry < 0 || c.Entry >= len(b.Entries)) {
			return fmt.Errorf("change %d names entry %d of %d", i, c.Entry, len(b.Entries))
		}
	}
	for i, o := range b.Owed {
		if o.Change < 0 || o.Change >= len(b.Changes) {
			return fmt.Errorf("notice %d names change %d of %d", i, o.Change, len(b.Changes))
		}
	}
	return nil
}

func (j *Journal) appendTx(tx *tx, b *Batch) error {
	if err := enterSession(tx, b.Session); err != nil {
		return err
	}
	if err := j.appendEntries(tx, b.Entries); err != nil {
		return err
	}
	if err := j.fault("append"); err != nil {
		return err
	}
	if err := appendChanges(tx, b); err != nil {
		return err
	}
	if b.Restamp != nil {
		if err := j.restampTx(tx, b.stretch()); err != nil {
			return err
		}
	}
	if err := appendOwed(tx, b); err != nil {
		return err
	}
	if b.Snapshot == nil {
		return nil
	}
	s := *b.Snapshot
	if s.Seq == 0 {
		s.Seq = tx.head.next - 1
	}
	return writeSnapshot(tx, s)
}

// stretch is what a batch asks to restamp.
func (b *Batch) stretch() Restamp {
	r := *b.Restamp
	for _, e := range b.Entries {
		if r.To == 0 && e.Event.Kind == farm.EventClock {
			r.To = e.Event.Seq - 1
		}
	}
	return r
}

// enterSession notes a new session of the broker where it begins.
func enterSession(tx *tx, session int64) error {
	if session == 0 || session == tx.head.session {
		return nil
	}
	tx.head.session = session
	return tx.exec(`INSERT OR REPLACE INTO session (after_seq, session) VALUES (?, ?)`, tx.head.next-1, session)
}

func (j *Journal) appendEntries(tx *tx, entries []Entry) error {
	insert := tx.StmtContext(tx.ctx, j.insert[tx.head.table])
	for i := range entries {
		e := &entries[i]
		e.Event.Seq = tx.head.next
		tx.head.next++
		if e.Event.Kind != farm.EventReading && e.Event.Kind != farm.EventTick {
			if err := insertEvent(tx, *e); err != nil {
				return err
			}
			continue
		}
		id, err := j.seriesFor(tx, e.Event)
		if err != nil {
			return err
		}
		r := rowOf(e.Event, id)
		r.seq = e.Event.Seq
		if _, err := insert.ExecContext(tx.ctx, r.columns(*e)...); err != nil {
			return err
		}
	}
	return nil
}

// prepareInserts prepares the one statement that every reading goes through, for
// each of the two tables: parsing it would take longer than running it.
func prepareInserts(ctx context.Context, db *sql.DB) (inserts [2]*sql.Stmt, err error) {
	for i, table := range tableName {
		inserts[i], err = db.PrepareContext(ctx, `INSERT INTO `+table+` VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`)
		if err != nil {
			return inserts, classify(fmt.Errorf("open journal: %w", err))
		}
	}
	return inserts, nil
}

// seriesFor finds the series of a reading. A probe that SetFarm did not name is
// still kept, at no place.
func (j *Journal) seriesFor(tx *tx, e farm.Event) (int64, error) {
	if e.Kind == farm.EventTick {
		return tickSeries, nil
	}
	if id := j.series.of(e.Reading.Probe); id != 0 {
		return id, nil
	}
	return enterSeries(tx, e.Reading.Probe, "", []place{})
}

// Wake has a value after notices have come to be owed. It is for one waiter.
func (j *Journal) Wake() <-chan struct{} { return j.wake }

func (j *Journal) signal() {
	select {
	case j.wake <- struct{}{}:
	default: // the waiter has not looked since the last one
	}
}
