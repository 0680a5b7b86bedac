package journal

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"binwatchd/internal/farm"
)

// An Entry is one event to append, with what is needed to know it again when
// the broker sends it once more.
type Entry struct {
	Event  farm.Event // Append fills in Seq
	Packet uint16     // MQTT packet id; 0 where there is none
	Sender uint32     // who numbered the packet, in one session
	Hash   uint32     // of topic and payload
}

// A Batch is written in one transaction, or not at all.
type Batch struct {
	Session  int64 // number of the broker's session; packet ids mean nothing across sessions
	Entries  []Entry
	Changes  []Change
	Owed     []Owe
	Snapshot *Snapshot // Seq 0: taken after the last entry of this batch
	Restamp  *Restamp  // applied after the entries and changes
}

// A Change is a change with its place.
type Change struct {
	farm.Change
	ID    int64 // Append fills it in
	Seq   int64 // of the event that caused it; Append fills it in
	Entry int   // index of the causing entry in its batch
}

// An Owe is a notice owed by a batch.
type Owe struct {
	Change int    // index of the change in its batch
	Teller string // key of the recipient
	Notice string // stable identity; "": Append makes one
}

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
		j.compacting.Lock()
		defer j.compacting.Unlock()
	}
	err := j.update(ctx, "append", func(t *tx) { j.appendTx(t, b) })
	if err == nil && len(b.Owed) > 0 {
		j.signal()
	}
	return err
}

// check refuses a batch whose parts do not fit together, and events that could not
// be given back.
func (b *Batch) check() error {
	for _, e := range b.Entries {
		switch {
		case e.Event.Kind < farm.EventReading, e.Event.Kind > farm.EventStock:
			return fmt.Errorf("event of unknown kind %d", e.Event.Kind)
		case e.Event.Arrived.IsZero():
			return fmt.Errorf("event of kind %d has no time of arrival", e.Event.Kind)
		case e.Event.Kind == farm.EventReading && e.Event.Reading.Probe == "":
			return fmt.Errorf("reading of no probe, arrived %s", e.Event.Arrived.Format(time.RFC3339))
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

func (j *Journal) appendTx(t *tx, b *Batch) {
	// A new session of the broker is noted where it begins.
	if b.Session != 0 && b.Session != t.head.session {
		t.head.session = b.Session
		t.exec(`INSERT OR REPLACE INTO session (after_seq, session) VALUES (?, ?)`, t.head.next-1, b.Session)
	}
	j.appendEntries(t, b.Entries)
	t.fail(j.cfg.Fault("append"))
	appendChanges(t, b)
	if b.Restamp != nil {
		j.restampTx(t, b.stretchToMove())
	}
	appendOwed(t, b)
	if b.Snapshot != nil {
		writeSnapshot(t, *b.Snapshot)
	}
}

func (j *Journal) appendEntries(t *tx, entries []Entry) {
	insert := t.sql.StmtContext(t.ctx, j.insert[t.head.table])
	for i := range entries {
		e := &entries[i]
		e.Event.Seq = t.head.next
		t.head.next++
		if e.Event.Kind != farm.EventReading && e.Event.Kind != farm.EventTick {
			insertEvent(t, *e)
			continue
		}
		id := j.seriesFor(t, e.Event)
		if t.err != nil {
			return
		}
		_, err := insert.ExecContext(t.ctx, rowOf(e.Event, id).columns(*e)...)
		t.fail(err)
	}
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

// packet gives what a message is known again by, NULL where there is nothing.
func (e Entry) packet() (packet, hash, sender any) {
	if e.Packet != 0 {
		packet, hash = int64(e.Packet), int64(int32(e.Hash))
	}
	if e.Sender != 0 {
		sender = int64(int32(e.Sender))
	}
	return packet, hash, sender
}

// Wake has a value after notices have come to be owed. It is for one waiter.
func (j *Journal) Wake() <-chan struct{} { return j.wake }

func (j *Journal) signal() {
	select {
	case j.wake <- struct{}{}:
	default: // the waiter has not looked since the last one
	}
}
