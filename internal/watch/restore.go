package watch

import (
	"context"
	"fmt"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/journal"
	"binwatchd/internal/rules"
)

// Rebuilt is the state of a farm as its journal tells it.
type Rebuilt struct {
	State    *rules.State
	Doubter  *ingest.Doubter
	Arrivals *ingest.Arrivals
	Last     time.Time // journal time of the newest event
	Taken    time.Time // journal time of the newest snapshot; zero when there was none
	Digest   string    // of the configuration of that snapshot
	Replayed int       // events since that snapshot
	Gone     []farm.Change

	stamps stamps // of what was replayed
}

// Rebuild reads the state out of a journal: the live loop at its start and
// after a failed commit, and the commands that look without a daemon.
func Rebuild(ctx context.Context, j *journal.Journal, f *farm.Farm) (Rebuilt, error) {
	r := Rebuilt{State: rules.New(f), Doubter: ingest.NewDoubter(f), Arrivals: ingest.NewArrivals(f), stamps: stamps{}}
	after, err := r.load(ctx, j, f)
	if err != nil {
		return r, err
	}
	err = j.Replay(ctx, after, func(e farm.Event) error {
		if e.Kind == farm.EventReading && e.Elsewhere == nil {
			r.Doubter.Learn(e.Reading)
			r.stamps.know(e.Reading)
		}
		r.step(e)
		r.Last = e.Arrived
		r.Replayed++
		return nil
	})
	if err != nil {
		return r, fmt.Errorf("replay the journal: %w", err)
	}
	standing, err := j.Standing(ctx)
	if err != nil {
		return r, fmt.Errorf("read what is raised: %w", err)
	}
	r.Gone = r.State.Reconcile(standing)
	return r, nil
}

// step lets an event happen to all that remembers, live and in a replay alike.
func (r *Rebuilt) step(e farm.Event) []farm.Change {
	switch e.Kind {
	case farm.EventJot:
		r.Doubter.Jotted(e.Jot)
	case farm.EventClock:
		r.Doubter.Shift(e.Shift, e.From)
	}
	r.Arrivals.Follow(e)
	return r.State.Step(e)
}

// load takes the last snapshot that this program can read, and gives the sequence
// number after which the replay begins.
func (r *Rebuilt) load(ctx context.Context, j *journal.Journal, f *farm.Farm) (after int64, err error) {
	snap, ok, err := j.Snapshot(ctx)
	if err != nil {
		return 0, fmt.Errorf("read the snapshot: %w", err)
	}
	if !ok || snap.Version != rules.SnapshotVersion {
		return 0, nil
	}
	since, err := j.Renames(ctx, snap.Seq)
	if err != nil {
		return 0, err
	}
	state, err := rules.Restore(f, snap.Rules, since)
	if err != nil {
		return 0, nil // unreadable: the journal itself tells all
	}
	if r.Doubter.Load(snap.Doubts, since) != nil || r.Arrivals.Load(snap.Arrivals, since) != nil {
		r.Doubter, r.Arrivals = ingest.NewDoubter(f), ingest.NewArrivals(f)
		return 0, nil // likewise
	}
	r.State, r.Taken, r.Last, r.Digest = state, snap.Taken, snap.Taken, snap.Digest
	return snap.Seq, nil
}

// rebuild makes the state anew from the last snapshot and what the journal
// holds after it. The changes that come up on the way are in the journal
// already and are not told again.
func (l *Loop) rebuild(ctx context.Context) error {
	r, err := Rebuild(ctx, l.cfg.Journal, l.cfg.Farm)
	if err != nil {
		return err
	}
	l.memory, l.decoder = r, ingest.NewDecoder(l.cfg.Farm, l.cfg.Prefix)
	l.stocks = r.State.Stocks()
	clear(l.weather) // what was on its way to the disk may be lost
	l.batch.reset()
	l.batch.save = len(r.Gone) > 0 || r.Digest != l.cfg.Digest
	return l.restoreRepeats(ctx)
}

// restoreRepeats learns which packets of the session are in the journal.
func (l *Loop) restoreRepeats(ctx context.Context) error {
	known, err := l.cfg.Journal.Repeats(ctx, repeatsKept)
	if err != nil {
		return fmt.Errorf("read the last packets: %w", err)
	}
	l.repeats = newRepeats(l.repeats.session) // it may have begun without a commit
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
	if err := l.keepTime(ctx); err != nil {
		return err
	}
	e := farm.Event{Kind: farm.EventStart, Arrived: l.now()}
	l.batch.add(e, append(l.memory.step(e), l.memory.Gone...), nil)
	l.startWrite(ctx)
	err := <-l.written
	first := l.writing.Entries[0]
	if err := l.outcome(err); err != nil {
		return err // the caller's to deal with
	}
	if l.cfg.Took != nil {
		l.cfg.Took(l.cfg.Farm, first.Event.Seq)
	}
	return nil
}

// bulk is how much is written in one transaction while history is relived:
// nobody waits for an acknowledgement.
const bulk = 4096

// Relive takes in a message of the past, before [Loop.Run]: what a recording or
// a simulation says was sent while the loop's clock showed its time. Writing
// is in bulk; [Loop.Relived] writes the rest.
func (l *Loop) Relive(ctx context.Context, d *ingest.Delivery) error {
	l.decode(d)
	l.batch.urgent = false
	if l.batch.waiting() < bulk {
		return nil
	}
	return l.commit(ctx)
}

// Relived ends a stretch of Relive.
func (l *Loop) Relived(ctx context.Context) error { return l.commit(ctx) }

// Note writes events into a journal that no daemon has open: a jot on a day
// when the daemon is stopped. The time since the last event was not watched,
// and the journal is told so.
func Note(ctx context.Context, j *journal.Journal, f *farm.Farm, all []farm.Event, now time.Time, owes func(farm.Change) []farm.Owed) error {
	r, err := Rebuild(ctx, j, f)
	if err != nil {
		return err
	}
	at := now.UTC().Truncate(time.Millisecond)
	if at.Before(r.Last) { // journal time never falls
		at = r.Last
	}
	var b batch
	striking := slices.ContainsFunc(all, isStrike)
	for _, e := range append([]farm.Event{{Kind: farm.EventStart}}, all...) {
		if err := known(ctx, j, e); err != nil {
			return err
		}
		e = happening(e, at)
		var changes []farm.Change
		if !striking { // else the state holds what is struck: the daemon judges when it starts
			changes = r.step(e)
		}
		b.add(e, changes, nil)
	}
	b.owe(owes)
	if err := j.Append(ctx, &b.Batch); err != nil {
		return fmt.Errorf("write into the journal: %w", err)
	}
	return nil
}
