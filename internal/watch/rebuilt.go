package watch

import (
	"context"
	"fmt"
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
	Taken    time.Time // of the snapshot it began from; zero when there was none
	Digest   string    // of the configuration of that snapshot
	Replayed int       // events after it
	Gone     []farm.Change

	stamps stamps // of what was replayed
}

// Rebuild reads the state out of a journal: the live loop at its start and
// after a failed commit, and the commands that look without a daemon.
func Rebuild(ctx context.Context, j *journal.Journal, f *farm.Farm) (Rebuilt, error) {
	r := Rebuilt{State: rules.New(f), Doubter: ingest.NewDoubter(f), Arrivals: ingest.NewArrivals(f), stamps: stamps{}}
	after, err := r.begin(ctx, j, f)
	if err != nil {
		return r, err
	}
	err = j.Replay(ctx, after, func(e farm.Event) error {
		switch e.Kind {
		case farm.EventReading:
			r.Doubter.Learn(e.Reading)
			r.stamps.know(e.Reading)
		case farm.EventJot:
			r.Doubter.Jotted(e.Jot)
		case farm.EventClock:
			r.Doubter.Shift(e.Shift, e.From)
		}
		r.Arrivals.Follow(e)
		r.State.Step(e)
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

// begin takes the last snapshot that this program can read.
func (r *Rebuilt) begin(ctx context.Context, j *journal.Journal, f *farm.Farm) (after int64, err error) {
	snap, ok, err := j.Snapshot(ctx)
	if err != nil {
		return 0, fmt.Errorf("read the snapshot: %w", err)
	}
	if !ok || snap.Version != rules.SnapshotVersion {
		return 0, nil
	}
	state, err := rules.Restore(f, snap.Rules)
	if err != nil {
		return 0, nil // unreadable: the journal itself tells all
	}
	if err := r.Doubter.Load(snap.Doubts); err != nil {
		return 0, fmt.Errorf("load doubts: %w", err)
	}
	if err := r.Arrivals.Load(snap.Arrivals); err != nil {
		return 0, err
	}
	r.State, r.Taken, r.Last, r.Digest = state, snap.Taken, snap.Taken, snap.Digest
	return snap.Seq, nil
}
