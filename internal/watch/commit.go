package watch

import (
	"context"
	"fmt"
	"time"

	"binwatchd/internal/journal"
	"binwatchd/internal/rules"
)

const (
	snapshotEvery   = 6 * time.Hour // of journal time
	snapshotEntries = 20_000        // or after so many entries: a restart replays no more
	hurried         = 200 * time.Millisecond
)

// armFlush sets the timer to when what waits has to be committed.
func (l *Loop) armFlush(t *time.Timer) {
	at := l.batch.flushAt
	if l.outage.on() {
		at = l.outage.next
	}
	if at.IsZero() {
		t.Reset(time.Hour)
		return
	}
	t.Reset(l.real(at.Sub(l.cfg.Now())))
}

// due commits when the batch is full or urgent, and else sees to it that it
// is committed after flush.
func (l *Loop) due(ctx context.Context) error {
	b := &l.batch
	switch {
	case b.empty(), b.urgent, b.waiting() >= full:
		return l.commit(ctx)
	case b.flushAt.IsZero():
		b.flushAt = l.cfg.Now().Add(l.cfg.Flush)
	}
	if hurry := l.cfg.Now().Add(hurried); b.hurry && hurry.Before(b.flushAt) {
		b.flushAt = hurry
	}
	return nil
}

// commit writes the batch and acknowledges it, or throws everything away that
// is not on disk.
func (l *Loop) commit(ctx context.Context) error {
	if l.batch.empty() {
		l.batch.acknowledge() // nothing to write: repeats and rejected messages
		l.batch.reset()
		return nil
	}
	err := l.write(ctx)
	if err != nil {
		l.fail(err)
	}
	return err
}

// write puts the batch on disk. A stop, or a caller that goes away meanwhile,
// does not break a write off: that would pass for trouble with the disk.
func (l *Loop) write(ctx context.Context) error {
	b, err := l.transaction()
	if err == nil {
		err = l.cfg.Journal.Append(context.WithoutCancel(ctx), b)
	}
	if err != nil {
		return fmt.Errorf("commit %d entries: %w", len(l.batch.entries), err)
	}
	l.settled(b)
	return nil
}

// transaction makes of the batch what the journal is to write.
func (l *Loop) transaction() (*journal.Batch, error) {
	b := &journal.Batch{
		Session: l.repeats.session, Entries: l.batch.entries, Changes: l.batch.changes,
		Owed: owedBy(l.batch.changes, l.cfg.Owes), Restamp: l.batch.restamp,
	}
	if l.batch.snapshot || l.sinceSnap+len(b.Entries) >= snapshotEntries || l.last.Sub(l.snapAt) >= snapshotEvery {
		snap, err := l.snapshot()
		if err != nil {
			return nil, err
		}
		b.Snapshot = snap
	}
	return b, nil
}

func (l *Loop) snapshot() (*journal.Snapshot, error) {
	state, err := l.state.Save()
	if err != nil {
		return nil, err
	}
	doubts, err := l.doubter.Save()
	if err != nil {
		return nil, fmt.Errorf("save doubts: %w", err)
	}
	return &journal.Snapshot{Version: rules.SnapshotVersion, Digest: l.cfg.Digest, Taken: l.last, Rules: state, Doubts: doubts}, nil
}

// settled is what follows a commit: the broker may forget the messages.
func (l *Loop) settled(b *journal.Batch) {
	for _, e := range b.Entries {
		if e.Packet != 0 {
			l.repeats.know(e.Packet, e.Hash)
		}
	}
	l.sinceSnap += len(b.Entries)
	if b.Snapshot != nil {
		l.sinceSnap, l.snapAt = 0, b.Snapshot.Taken
	}
	l.counts.committed(l.cfg.Now())
	l.batch.acknowledge()
	if l.cfg.Said != nil && len(b.Changes) > 0 {
		l.cfg.Said(plain(b.Changes))
	}
	l.batch.reset()
}
