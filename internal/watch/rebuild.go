package watch

import (
	"context"
	"fmt"
	"slices"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/journal"
)

// rebuild makes the state anew from the last snapshot and what the journal
// holds after it. The changes that come up on the way are in the journal
// already and are not told again.
func (l *Loop) rebuild(ctx context.Context) error {
	r, err := Rebuild(ctx, l.cfg.Journal, l.cfg.Farm)
	if err != nil {
		return err
	}
	l.state, l.doubter, l.arrivals, l.stamps, l.last = r.State, r.Doubter, r.Arrivals, r.stamps, r.Last
	l.decoder = ingest.NewDecoder(l.cfg.Farm, l.cfg.Prefix)
	l.sinceSnap, l.snapAt = r.Replayed, r.Taken
	l.batch.reset()
	for _, ch := range r.Gone {
		l.batch.changes = append(l.batch.changes, journal.Change{Change: ch})
	}
	l.batch.snapshot = len(r.Gone) > 0 || r.Digest != l.cfg.Digest
	return l.recall(ctx)
}

// recall learns which packets of the session are in the journal.
func (l *Loop) recall(ctx context.Context) error {
	known, err := l.cfg.Journal.Repeats(ctx, repeatsKept)
	if err != nil {
		return fmt.Errorf("read the last packets: %w", err)
	}
	session := l.repeats.session // it may have begun without a commit
	l.repeats = newRepeats()
	l.repeats.session = session
	for _, k := range known {
		l.repeats.session = max(l.repeats.session, k.Session)
	}
	for _, k := range slices.Backward(known) { // the oldest first, as they came
		if k.Session == l.repeats.session {
			l.repeats.know(packetID{k.Sender, k.Packet}, k.Hash)
		}
	}
	return nil
}

// begin journals that watching starts, so that no probe was silent in a time
// that nobody watched.
func (l *Loop) begin(ctx context.Context) error {
	gone := l.batch.changes
	l.batch.changes = nil
	if err := l.keepTime(ctx); err != nil {
		return err
	}
	e := farm.Event{Kind: farm.EventStart, Arrived: l.now()}
	l.arrivals.Follow(e)
	l.batch.add(e, append(l.state.Step(e), plain(gone)...), nil)
	l.launch(ctx)
	rows := l.writing.rows
	if err := l.outcome(<-l.writing.done); err != nil {
		return err // the caller's to deal with
	}
	if l.cfg.Took != nil {
		l.cfg.Took(l.cfg.Farm, rows.Entries[0].Event.Seq)
	}
	return nil
}

func plain(changes []journal.Change) []farm.Change {
	var out []farm.Change
	for _, ch := range changes {
		out = append(out, ch.Change)
	}
	return out
}
