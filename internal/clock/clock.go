// Package clock gives the time of readings on a machine whose wall clock may
// be wrong at boot: a Pi has no battery clock.
//
// A [Keeper] counts with the kernel's monotonic clock, which never jumps, from
// a base that the wall clock gives it. When the wall clock turns out to be
// somewhere else, the keeper weighs who is to be trusted: a clock that the
// kernel calls synchronised beats one that is merely plausible (not before the
// program was built), and that beats a guess. A better base is told as a
// [Correction], so that times noted on the worse one can be put right.
//
// It is pure but for its [Sources]; the kernel's are in [Kernel].
package clock

import "time"

// Trust is how far a base can be believed.
type Trust int

const (
	Guess     Trust = iota // no better than: not before the last thing we know
	Plausible              // the wall clock, not before the build
	Synced                 // the wall clock, which the kernel calls synchronised
)

// Sources are the clocks of a machine.
type Sources struct {
	Wall      func() time.Time
	SinceBoot func() time.Duration // never jumps, goes on in sleep
	Synced    func() bool          // the kernel calls the wall clock synchronised
}

// slack is how far the wall clock may drift from the count before it is taken
// as a jump: slewing by a time server stays far under it between two looks.
const slack = 2 * time.Second

// A Keeper keeps time. It belongs to one goroutine.
type Keeper struct {
	Face
	src   Sources
	built time.Time
	trust Trust
	step  time.Duration // by which a synchronised clock was last seen to jump; 0: it was not
}

// A Correction says that what was noted since the keeper's base came into
// force was off by Shift.
type Correction struct {
	Shift   time.Duration
	From    time.Time // begin of the wrong time, on the wrong clock
	Restamp bool      // the times noted since From are to be put right; else only durations go on

	// TakenBack says that it undoes the correction before, which then was none.
	TakenBack bool
}

// NewKeeper begins to keep time. last is the newest time already noted on
// disk, zero when there is none; built is when the program was built.
func NewKeeper(src Sources, last, built time.Time) *Keeper {
	k := &Keeper{src: src, built: built, Face: Face{since: src.SinceBoot, least: last}}
	wall := src.Wall()
	k.trust = k.worth(wall)
	if k.trust != Synced && wall.Before(last) {
		// A clock that has not been set yet, on a machine that was off for a
		// while: time goes on from the last thing noted.
		k.trust, wall = Guess, last
	}
	if k.trust == Guess && wall.Before(built) {
		wall = built
	}
	k.base = wall.Add(-src.SinceBoot())
	return k
}

// worth is how far the wall clock can be believed now.
func (k *Keeper) worth(wall time.Time) Trust {
	switch {
	case k.src.Synced():
		return Synced
	case wall.Before(k.built):
		return Guess
	}
	return Plausible
}

// Begin gives the correction that is needed before anything is noted: the
// journal may end in a future that a clock which is now synchronised denies.
func (k *Keeper) Begin() (c Correction, needed bool) {
	now := k.count()
	if k.least.IsZero() || !now.Add(slack).Before(k.least) {
		return Correction{}, false
	}
	c = Correction{Shift: now.Sub(k.least), From: now}
	k.least = now
	return c, true
}

// Now gives the time. It never falls, and a jump of the wall clock does not
// move it: see [Keeper.Check].
func (k *Keeper) Now() time.Time {
	k.least = k.Face.Now()
	return k.least
}

// A Face shows a keeper's time to others; it is right until the keeper's base
// moves, and a copy may be read from any goroutine.
type Face struct {
	since func() time.Duration
	base  time.Time // time at boot
	least time.Time // what was given last: time never falls but by a correction
}

// count is the time by the base, in whole milliseconds.
func (f Face) count() time.Time { return f.base.Add(f.since()).Truncate(time.Millisecond) }

// Now gives the time.
func (f Face) Now() time.Time {
	if t := f.count(); t.After(f.least) {
		return t
	}
	return f.least
}

// Trust is how far the base in force can be believed.
func (k *Keeper) Trust() Trust { return k.trust }

// How long after boot a better clock is waited for before times are passed on. A
// machine that reaches a time server does so in its first minutes; after a power
// cut the way there may take hours longer. One that reaches none goes on with
// what it has.
const (
	plausibleWait = 2 * time.Minute
	guessWait     = 6 * time.Hour
)

// Final tells whether times noted now are as good as they are likely to get, so
// that they can be passed on. A correction may still come; see [Keeper.Check].
func (k *Keeper) Final() bool {
	up := k.src.SinceBoot()
	return k.trust == Synced || k.trust == Plausible && up >= plausibleWait || up >= guessWait
}

// Check looks at the wall clock and moves the base when that is better. began
// is when the base in force came into force, by its own time.
func (k *Keeper) Check(began time.Time) (c Correction, moved bool) {
	wall := k.src.Wall()
	off, worth := wall.Sub(k.count()), k.worth(wall)
	switch {
	case off.Abs() <= slack:
		k.base = k.base.Add(off)
		k.trust = max(k.trust, worth)
		return Correction{}, false
	case worth < k.trust, worth == Guess:
		return Correction{}, false
	case k.trust == Guess && worth == Plausible && off < 0:
		// Plausible, yet earlier than what is on disk already.
		return Correction{}, false
	}
	off = off.Truncate(time.Millisecond)
	// What was noted on a synchronised clock was right then, unless that had jumped
	// there and has come back now.
	takenBack := k.step != 0 && (k.step+off).Abs() <= 2*slack
	c = Correction{Shift: off, From: began, Restamp: k.trust < Synced || takenBack, TakenBack: takenBack}
	if k.step = off; k.trust < Synced || takenBack {
		k.step = 0
	}
	k.base, k.trust = k.base.Add(off), worth
	k.least = k.least.Add(off)
	return c, true
}
