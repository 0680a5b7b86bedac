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
	l.suffer(now, err)
	l.outage.tries++
	l.outage.next = now.Add(DiskRetry.After(l.outage.tries))
}

// suffer begins an outage, or goes on with one, and tells of it once.
func (l *Loop) suffer(since time.Time, err error) {
	if l.outage.since.IsZero() {
		l.outage = outage{since: since, why: Why(err)}
		l.cfg.TellNow(Unwritable(since, err, l.cfg.File))
	}
	l.outage.over = time.Time{}
}

const (
	// answerTime is how long a loop that has other things to do waits for a disk.
	answerTime = time.Second
	// longestWrite is how long a write takes at most by a disk that works: a worn card
	// holds one up for half a minute. Common practice, no source.
	longestWrite = time.Minute
	// longestHold is how long a write is waited for before a hang of our own is
	// thought of, which a new start would end. A choice.
	longestHold = 15 * time.Minute
)

var errHeldUp = errors.New("the disk does not answer")

// hold deals with a write that does not end. It goes on, and whatever is in memory
// stays true: when it ends well, so does the outage.
func (l *Loop) hold() {
	if l.now().Sub(l.sent) >= longestWrite {
		l.cfg.Log.Error("journal not written", "error", errHeldUp, "since", l.sent)
		l.suffer(l.sent, errHeldUp)
	}
}

// endOutage tells that an outage is over, after a write that went well.
func (l *Loop) endOutage(now time.Time) {
	if l.outage.trusted(now) {
		l.cfg.TellNow(Writable(l.outage.since, l.outage.over, now))
		l.outage = outage{}
	}
}

// Unwritable is what the keeper is told, from memory, when the journal can't be
// written. The file is that of the configuration, for commands that can be pasted;
// "" where none could name it.
func Unwritable(since time.Time, err error, file string) farm.Change {
	why, do := remedy(err, file)
	ch := outageChange(farm.Raised, since, since)
	ch.Text = "The journal can't be written: " + why + ". Readings wait at the broker and nothing is judged until this is mended."
	ch.Advice = &farm.Advice{Do: do}
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
	why, _ := remedy(err, "")
	return why
}

// lookAtDisk is what to do where no error says more.
const lookAtDisk = "Look at the card or disk that holds the journal, and at the daemon's log."

// remedies are what to do about the causes that a journal tells apart.
var remedies = []struct {
	cause error
	do    string
}{
	{journal.ErrFull, "Make room on the disk that holds the journal; everything goes on by itself then."},
	{journal.ErrReadOnly, "Make the journal's disk writable again; a card that turns read-only is often worn out, so have a spare ready."},
	{journal.ErrDamaged, lookAtDisk},
	{journal.ErrDisk, lookAtDisk},
	{errHeldUp, lookAtDisk},
	{journal.ErrLocked, "Close the program that has the journal's file open; to look into it, take a copy with binwatchd backup."},
}

// remedy says why the journal can't be written and what to do about it.
func remedy(err error, file string) (why, do string) {
	var moved *journal.MovedError
	if errors.As(err, &moved) {
		return moved.Error(), wayOut(moved, file)
	}
	for _, r := range remedies {
		if errors.Is(err, r.cause) {
			return r.cause.Error(), r.do
		}
	}
	return "the write did not succeed", lookAtDisk
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
