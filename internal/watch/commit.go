package watch

import (
	"context"
	"time"
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
	if at.IsZero() || l.writing != nil { // what waits is looked at when the write is done
		t.Reset(time.Hour)
		return
	}
	t.Reset(l.real(at.Sub(l.now())))
}

// due has the batch written when it is full or urgent, and else sees to it that
// it will be after flush.
func (l *Loop) due(ctx context.Context) {
	b := &l.batch
	switch {
	case l.writing != nil, l.outage.on(): // asked again afterwards
		return
	case b.empty(), b.urgent, l.enough():
		l.launch(ctx)
		return
	case b.flushAt.IsZero():
		b.flushAt = l.now().Add(l.cfg.Flush)
	}
	if hurry := l.now().Add(hurried); b.hurry && hurry.Before(b.flushAt) {
		b.flushAt = hurry
	}
}

// enough tells whether the batch is worth a write. All that has come already
// joins it before: a write takes the disk about as long for many as for few.
func (l *Loop) enough() bool {
	n := l.batch.waiting()
	return n >= most || n >= full && len(l.cfg.Source.Items()) == 0
}

// inPlace tells whether the journal's path still names the file that is written:
// on a quiet farm nothing is written for long, and the keeper should know.
func (l *Loop) inPlace() bool {
	if l.await() != nil {
		return false // the failure has been dealt with
	}
	if err := l.cfg.Journal.InPlace(); err != nil {
		l.fail(err)
		return false
	}
	return true
}

// commit returns when all that waits is on disk and acknowledged, or thrown
// away because it could not be written.
func (l *Loop) commit(ctx context.Context) error {
	if err := l.await(); err != nil {
		return err
	}
	l.launch(ctx)
	return l.await()
}
