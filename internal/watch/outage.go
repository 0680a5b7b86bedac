package watch

import (
	"context"
	"errors"
	"fmt"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

const (
	retryFirst = time.Second
	retryMost  = 30 * time.Second
)

// An outage is a stretch of time in which the journal can't be written. Intake
// holds, judging pauses, and the loop tries again until it can.
type outage struct {
	since time.Time // zero: none
	next  time.Time // when to try again
	wait  time.Duration
	cried bool
}

func (o *outage) on() bool { return !o.since.IsZero() }

// fail deals with a commit that did not happen: nothing is acknowledged, and
// what is in memory is no longer true.
func (l *Loop) fail(err error) {
	now := l.cfg.Now()
	l.cfg.Log.Error("journal not written", "error", err)
	l.batch.reset()
	if !l.outage.on() {
		l.outage = outage{since: now, wait: retryFirst}
		l.cry(err)
	}
	l.outage.next = now.Add(l.outage.wait)
	l.outage.wait = min(2*l.outage.wait, retryMost)
}

// cry tells the keeper from memory, once an outage: the only notice that is
// sent for a state that is not on disk.
func (l *Loop) cry(err error) {
	if !l.outage.cried {
		l.outage.cried = true
		l.tellFromMemory(Unwritable(l.outage.since, err))
	}
}

func (l *Loop) tellFromMemory(ch farm.Change) {
	if l.cfg.Cry != nil {
		l.cfg.Cry(ch)
	}
}

// Unwritable is what the keeper is told, from memory, when the journal can't be
// written.
func Unwritable(since time.Time, err error) farm.Change {
	ch := outageChange(farm.Raised, since, since)
	ch.Text = "The journal can't be written: " + cause(err) + ". Readings wait at the broker and nothing is judged until this is mended."
	ch.Advice = &farm.Advice{Do: remedy(err)}
	return ch
}

// Writable is the easing of Unwritable. It is told from memory too: what was
// never on disk is not eased there either.
func Writable(since, now time.Time) farm.Change {
	ch := outageChange(farm.Eased, since, now)
	ch.Text = "The journal is written again, after " + farm.SayLong(now.Sub(since)) + ". What waited at the broker comes in now."
	return ch
}

func outageChange(kind farm.ChangeKind, since, at time.Time) farm.Change {
	return farm.Change{
		At: at.UTC(), Condition: farm.Unwritten, Change: kind, Urgency: farm.Now,
		Episode: "unwritten-" + since.UTC().Format("20060102T150405"), Since: since.UTC(),
	}
}

func cause(err error) string {
	for _, known := range []error{journal.ErrFull, journal.ErrReadOnly, journal.ErrDamaged, journal.ErrDisk} {
		if errors.Is(err, known) {
			return known.Error()
		}
	}
	return "the write did not succeed"
}

func remedy(err error) string {
	switch {
	case errors.Is(err, journal.ErrFull):
		return "Make room on the disk that holds the journal; everything goes on by itself then."
	case errors.Is(err, journal.ErrReadOnly):
		return "Make the journal's disk writable again; a card that turns read-only is often worn out, so have a spare ready."
	}
	return "Look at the card or disk that holds the journal, and at the daemon's log."
}

// retry tries to go on after an outage: rebuild from what is on disk, write
// once, and have the broker send again what was never acknowledged.
func (l *Loop) retry(ctx context.Context) {
	if l.cfg.Now().Before(l.outage.next) {
		return
	}
	if err := l.resume(ctx); err != nil {
		l.fail(err)
		return
	}
	now := l.cfg.Now()
	l.cfg.Log.Info("journal is written again", "outage", now.Sub(l.outage.since).Round(time.Second))
	l.tellFromMemory(Writable(l.outage.since, now))
	l.outage = outage{}
	l.cfg.Source.Reconnect()
}

// resume begins anew with what is on disk, under the farm in force.
func (l *Loop) resume(ctx context.Context) error {
	if err := l.cfg.Journal.Renew(ctx); err != nil { // does nothing to a sound one
		return fmt.Errorf("begin a new journal: %w", err)
	}
	if err := l.cfg.Journal.SetFarm(ctx, l.cfg.Farm); err != nil {
		return err
	}
	if err := l.rebuild(ctx); err != nil {
		return fmt.Errorf("rebuild from the journal: %w", err)
	}
	return l.begin(ctx)
}
