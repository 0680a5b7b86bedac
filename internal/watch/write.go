package watch

import (
	"context"
	"fmt"

	"binwatchd/internal/journal"
	"binwatchd/internal/rules"
)

// A writing is a batch on its way to the disk. There is one at a time, so that
// commits and acknowledgements keep the order of arrival; the next batch fills
// meanwhile. If the write does not succeed, both are thrown away.
type writing struct {
	batch batch
	rows  *journal.Batch
	done  chan error // room for one
}

// landed has a value when the write under way is done; there is none without
// one.
func (l *Loop) landed() <-chan error {
	if l.writing == nil {
		return nil
	}
	return l.writing.done
}

// launch has the batch written; the caller has seen to it that no write is
// under way. A stop, or a caller that goes away meanwhile, does not break it
// off: that would pass for trouble with the disk.
func (l *Loop) launch(ctx context.Context) {
	if l.batch.empty() { // repeats and rejected messages
		l.batch.acknowledge()
		l.batch.reset()
		return
	}
	w := &writing{done: make(chan error, 1)}
	rows, err := l.transaction()
	w.batch, w.rows = l.batch, rows
	l.batch, l.spare, l.writing = l.spare, batch{}, w
	if err != nil {
		w.done <- err
		return
	}
	go func() { w.done <- l.cfg.Journal.Append(context.WithoutCancel(ctx), rows) }()
}

// await returns when no write is under way.
func (l *Loop) await() error {
	if l.writing == nil {
		return nil
	}
	return l.land(<-l.writing.done)
}

// land takes in the outcome of the write under way.
func (l *Loop) land(err error) error {
	if err = l.outcome(err); err != nil {
		l.fail(err)
	}
	return err
}

func (l *Loop) outcome(err error) error {
	w := l.writing
	l.writing = nil
	if err != nil {
		return fmt.Errorf("commit %d entries: %w", len(w.batch.entries), err)
	}
	l.settled(w)
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
	arrivals, err := l.arrivals.Save()
	if err != nil {
		return nil, err
	}
	return &journal.Snapshot{
		Version: rules.SnapshotVersion, Digest: l.cfg.Digest, Taken: l.last, Rules: state, Doubts: doubts, Arrivals: arrivals,
	}, nil
}

// settled is what follows a commit: the broker may forget the messages.
func (l *Loop) settled(w *writing) {
	now := l.now()
	for _, e := range w.rows.Entries {
		if e.Packet != 0 {
			l.repeats.know(packetID{e.Sender, e.Packet}, e.Hash)
		}
	}
	l.sinceSnap += len(w.rows.Entries)
	if w.rows.Snapshot != nil {
		l.sinceSnap, l.snapAt = 0, w.rows.Snapshot.Taken
	}
	l.counts.committed(now)
	l.relieve(now)
	w.batch.acknowledge()
	if l.cfg.Said != nil && len(w.rows.Changes) > 0 {
		l.cfg.Said(plain(w.rows.Changes))
	}
	w.batch.reset()
	l.spare = w.batch
}
