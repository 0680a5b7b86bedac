package watch

import (
	"context"
	"errors"
	"fmt"
	"time"

	"binwatchd/internal/backoff"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// DiskRetry is how long a disk is left alone between two tries.
var DiskRetry = backoff.Doubling{First: time.Second, Most: 30 * time.Second}

// trustMost is how long writing has to work at most before an outage is over.
const trustMost = time.Minute

// An outage is a stretch of time in which the journal can't be written. Intake
// holds, judging pauses, and the loop tries again until it can. Writing then has
// to work for as long as it did not, or a minute, before the outage is told to
// be over: a disk with room for one more page, or one that works now and then,
// would else be told of at every try.
type outage struct {
	since time.Time // zero: none
	why   string
	over  time.Time // writing works again since; zero: it does not
	next  time.Time // when to try again
	tries int       // that have failed since the outage began
}

func (o *outage) on() bool { return !o.since.IsZero() && o.over.IsZero() }

// trusted tells whether writing has worked for long enough.
func (o *outage) trusted(now time.Time) bool {
	return !o.over.IsZero() && now.Sub(o.over) >= min(trustMost, o.over.Sub(o.since))
}

// fail deals with a commit that did not happen: nothing is acknowledged, and
// what is in memory is no longer true.
func (l *Loop) fail(err error) {
	now := l.now()
	l.cfg.Log.Error("journal not written", "error", err)
	l.batch.reset()
	if l.outage.since.IsZero() {
		l.outage = outage{since: now, why: Why(err)}
		l.cfg.TellNow(Unwritable(now, err, l.cfg.File))
	}
	l.outage.over = time.Time{}
	l.outage.tries++
	l.outage.next = now.Add(DiskRetry.After(l.outage.tries))
}

// endOutage tells that an outage is over, after a write that went well.
func (l *Loop) endOutage(now time.Time) {
	if l.outage.trusted(now) {
		l.cfg.TellNow(Writable(l.outage.since, l.outage.over, now))
		l.outage = outage{}
	}
}

// proveWritable has something written where nothing else is, so that an outage ends on
// a quiet farm too.
func (l *Loop) proveWritable() {
	if l.outage.trusted(l.now()) {
		l.batch.snapshot, l.batch.urgent = true, true
	}
}

// Unwritable is what the keeper is told, from memory, when the journal can't be
// written. The file is that of the configuration, for commands that can be pasted;
// "" where none could name it.
func Unwritable(since time.Time, err error, file string) farm.Change {
	ch := outageChange(farm.Raised, since, since)
	ch.Text = "The journal can't be written: " + Why(err) + ". Readings wait at the broker and nothing is judged until this is mended."
	ch.Advice = &farm.Advice{Do: remedy(err, file)}
	return ch
}

// Writable is the easing of Unwritable: the outage was over at a time before
// now. It is told from memory too: what was never on disk is not eased there
// either.
func Writable(since, over, now time.Time) farm.Change {
	ch := outageChange(farm.Eased, since, now)
	ch.Text = "The journal is written again, after " + farm.SayLong(over.Sub(since)) + ". What waited at the broker has come in."
	return ch
}

func outageChange(kind farm.ChangeKind, since, at time.Time) farm.Change {
	return farm.Change{
		At: at.UTC(), Condition: farm.Unwritten, Change: kind, Urgency: farm.Now,
		Episode: "unwritten-" + since.UTC().Format("20060102T150405"), Since: since.UTC(),
	}
}

// Why says in a few words why the journal can't be written.
func Why(err error) string {
	var moved *journal.MovedError
	if errors.As(err, &moved) {
		return moved.Error()
	}
	for _, known := range []error{journal.ErrFull, journal.ErrReadOnly, journal.ErrDamaged, journal.ErrDisk, journal.ErrLocked} {
		if errors.Is(err, known) {
			return known.Error()
		}
	}
	return "the write did not succeed"
}

func remedy(err error, file string) string {
	var moved *journal.MovedError
	switch {
	case errors.As(err, &moved):
		return wayOut(moved, file)
	case errors.Is(err, journal.ErrFull):
		return "Make room on the disk that holds the journal; everything goes on by itself then."
	case errors.Is(err, journal.ErrReadOnly):
		return "Make the journal's disk writable again; a card that turns read-only is often worn out, so have a spare ready."
	case errors.Is(err, journal.ErrLocked):
		return "Close the program that has the journal's file open; to look into it, take a copy with binwatchd backup."
	}
	return "Look at the card or disk that holds the journal, and at the daemon's log."
}

// wayOut says how to get out when the journal's path no longer names what is
// open.
func wayOut(e *journal.MovedError, file string) string {
	command := "binwatchd backup FILE"
	if file != "" {
		command += " --config " + file
	}
	switch {
	case e.What == journal.LogGone:
		return "Leave the files alone that lie beside the journal. What the log held is being saved; if this stays, restart the daemon."
	case e.What == journal.Taken:
		return "Stop the second binwatchd; two can't keep one journal."
	case e.Open():
		return "Do not stop the daemon yet: all that was noted is still open in it. Put the file back under its name, and everything goes on by itself. " +
			"If it is gone, save it with: " + command + " (FILE is a new one on another disk; if the journal's folder is gone too, first make a new one of that name and owner, and wait ten seconds). Then stop the daemon, move what lies at " + e.Path + " out of the way, put that copy there, and start it."
	}
	return "Stop the daemon, move all files that begin with " + e.Path + " out of the way, put your last backup in its place, and start the daemon."
}

// retry tries to go on after an outage: rebuild from what is on disk, write
// once, and have the broker send again what was never acknowledged.
func (l *Loop) retry(ctx context.Context) {
	if l.now().Before(l.outage.next) {
		return
	}
	if err := l.resume(ctx); err != nil {
		l.fail(err)
		return
	}
	l.outage.over = l.now()
	l.cfg.Log.Info("journal is written again", "outage", l.outage.over.Sub(l.outage.since).Round(time.Second))
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
