package watch

import (
	"context"
	"fmt"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// Note writes an event into a journal that no daemon has open: a jot on a day
// when the daemon is stopped. The time since the last event was not watched,
// and the journal is told so.
func Note(ctx context.Context, j *journal.Journal, f *farm.Farm, e farm.Event, now time.Time, owes func(farm.Change) []farm.Owed) error {
	r, err := Rebuild(ctx, j, f)
	if err != nil {
		return err
	}
	at := now.UTC().Truncate(time.Millisecond)
	if at.Before(r.Last) {
		at = r.Last
	}
	var b batch
	start := farm.Event{Kind: farm.EventStart, Arrived: at}
	b.add(start, r.State.Step(start), nil)
	e.Arrived = at
	if e.Kind == farm.EventJot && e.Jot.At.IsZero() {
		e.Jot.At = at
	}
	b.add(e, r.State.Step(e), nil)
	if err := j.Append(ctx, &journal.Batch{Entries: b.entries, Changes: b.changes, Owed: owedBy(b.changes, owes)}); err != nil {
		return fmt.Errorf("write into the journal: %w", err)
	}
	return nil
}

// owedBy lists the notices that a batch's changes owe.
func owedBy(changes []journal.Change, owes func(farm.Change) []farm.Owed) []journal.Owe {
	var out []journal.Owe
	for i, ch := range changes {
		for _, o := range owes(ch.Change) {
			out = append(out, journal.Owe{Change: i, Teller: o.Teller, Notice: o.Notice})
		}
	}
	return out
}
