package watch

import (
	"context"
	"fmt"
	"time"

	"binwatchd/internal/clock"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// timekeeping is how the loop's times came about: what has to be put right
// when the clock turns out to have been wrong.
type timekeeping struct {
	keeper *clock.Keeper     // nil: the wall clock is taken as it is
	began  time.Time         // of what is to be put right when the base turns out wrong
	from   int64             // the sequence number of its first event
	trust  clock.Trust       // in the base in force
	owed   *clock.Correction // found, yet not on disk
}

// keepTime sets the clocks going after a rebuild.
func (l *Loop) keepTime(ctx context.Context) error {
	if l.cfg.Clock == nil {
		return nil
	}
	if l.time.keeper == nil {
		l.time.keeper = clock.NewKeeper(*l.cfg.Clock, l.memory.Last, l.cfg.Built)
		if c, needed := l.time.keeper.Begin(); needed {
			l.cfg.Log.Warn("the journal ended in the future; the clock is synchronised now and is believed", "ahead", -c.Shift)
			l.shift(c)
		}
	}
	if l.time.from == 0 {
		if err := l.beginHere(ctx); err != nil {
			return err
		}
	}
	l.time.trust = l.time.keeper.Trust()
	l.show()
	return nil
}

// shown is what others may see of the time.
type shown struct {
	clock.Face
	final bool // what is noted now keeps its time
	sure  bool // what is old by it may be thrown away
}

// show lets others see the time and what it is worth.
func (l *Loop) show() {
	k := l.time.keeper
	l.shown.Store(&shown{k.Face, k.Final(), k.Trust() == clock.Synced || l.now().Sub(l.time.began) >= surely})
}

// surely is how long a clock that nobody vouches for has to have gone on before
// anything is thrown away by it.
const surely = 7 * 24 * time.Hour

// Time is journal time, by which what is owed is told. It goes on from the newest
// event where the wall clock is behind that. It may be asked from any goroutine.
func (l *Loop) Time() time.Time {
	if s := l.shown.Load(); s != nil {
		return s.Now()
	}
	return l.cfg.Now()
}

// TimeSure tells whether what is old by journal time may be thrown away: a clock
// that is years ahead must not empty the journal. It may be asked from any
// goroutine.
func (l *Loop) TimeSure() bool { return l.cfg.Clock == nil || l.shown.Load().sure }

// checkClock looks whether the wall clock is to be followed elsewhere, and puts
// right what was noted meanwhile.
func (l *Loop) checkClock(ctx context.Context) {
	k := l.time.keeper
	if k == nil {
		return
	}
	if l.time.owed == nil {
		if c, moved := k.Check(l.time.began); moved {
			l.time.owed = &c
			l.show()
		}
	}
	switch {
	case l.time.owed != nil:
		if err := l.correct(ctx, *l.time.owed); err != nil {
			return // tried again at the next look
		}
	case k.Trust() == clock.Synced && l.time.trust < clock.Synced:
		if err := l.keepTimes(ctx); err != nil { // what was noted so far was right
			return
		}
	}
	l.time.trust = k.Trust()
	l.show()
}

// correct journals that the clock was put right, and moves what was noted
// under the wrong one, in one transaction.
func (l *Loop) correct(ctx context.Context, c clock.Correction) error {
	if err := l.commit(ctx); err != nil { // what waits bears the old times
		return err
	}
	l.cfg.Log.Warn("clock put right", "by", c.Shift.Round(time.Second))
	l.shift(c)
	if c.Restamp {
		l.batch.Restamp = &journal.Restamp{From: l.time.from, Shift: c.Shift}
	}
	if c.TakenBack {
		l.batch.Restamp.From-- // with the event that brought the wrong time
	}
	if err := l.commit(ctx); err != nil {
		return err
	}
	l.time.owed = nil // it is on disk: what fails from here on is not to bring it twice
	if c.TakenBack {  // nothing made of the wrong times is of use
		if err := l.anew(ctx); err != nil {
			l.fail(err)
			return err
		}
	}
	if c.Restamp && l.cfg.Moved != nil {
		l.cfg.Moved(l.time.from)
	}
	if c.Restamp && l.time.keeper.Trust() < clock.Synced {
		l.time.began = l.time.began.Add(c.Shift) // all of it lies on the new base now
		return nil
	}
	return l.keepTimes(ctx)
}

// keepTimes says that what was noted so far keeps its times.
func (l *Loop) keepTimes(ctx context.Context) error {
	if err := l.commit(ctx); err != nil {
		return err
	}
	return l.beginHere(ctx)
}

// shift lets the clock be put right, and has that saved so that no replay has to go
// through it again.
func (l *Loop) shift(c clock.Correction) {
	l.memory.Last = l.time.keeper.Now()
	l.take(farm.Event{Kind: farm.EventClock, Arrived: l.memory.Last, Shift: c.Shift, From: c.From}, nil)
	l.batch.save = true
}

// beginHere says that only what is noted from now on may have to be put right.
func (l *Loop) beginHere(ctx context.Context) error {
	last, err := l.cfg.Journal.Last(ctx)
	if err != nil {
		return fmt.Errorf("read the journal's end: %w", err)
	}
	l.time.began, l.time.from = l.now(), last+1
	return nil
}

// TimesFinal tells whether what is noted now bears a time that is fit to be passed
// on. It may be asked from any goroutine.
func (l *Loop) TimesFinal() bool { return l.cfg.Clock == nil || l.shown.Load().final }
