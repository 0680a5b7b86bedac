package ingest

import (
	"math"
	"time"
)

// A flicker keeps how often a probe goes to and fro over two steps of its
// resolution: noise that no place within one step can hide.
//
// A probe with next to no noise flickers for a day between two numbers, while the
// level lies on the edge between them, and then honestly stands. To go over two edges
// and back, though, takes noise that reaches both at once, and such noise shows at any
// place within a step. A turn takes two readings that leave a number, so a probe that
// turned at a rate of r a reading leaves its number with a chance that goes with √r.
type flicker struct {
	Up      bool    // which way it went last
	Far     float64 // where it turned, or has come to
	FarAt   int64   // when it was there last; 0 when not known
	Between bool    // it has said a number between that and two steps from it
	TurnAt  int64   // when it turned last
	Turns   float64 // how often it turned soon after it had turned
	Of      float64 // readings in which it did
	Waits   float64 // readings since its number last changed, not yet counted
}

// The rates are those of normal noise of 0.15 to 3 steps, on every reading or on half of
// them, at the place within a step where it turns most (simulated; about the smallest
// ratio for each length of turn). The rest is common practice, no source.
const (
	leavesTurns  = 0.9            // times √r for turns of turnReadings, more for shorter ones,
	leavesMost   = 0.5            // up to this
	turnReadings = 8              // a turn takes no more readings,
	turnLasts    = 3 * time.Hour  // and no longer, else the day may have done it,
	turnShort    = 3              // and there are so many readings in that
	turnsLeast   = 3              // fewer are no rate
	turnsOf      = 4096           // readings over which it is learnt
	turnsFrom    = 24 * time.Hour // of history
	turnsSure    = 0.5            // standard deviations of a count (Poisson) by which it is taken less
	neverYears   = 10_000         // probe-years in which an honest run so long is met once
)

// turnWithin is how many readings a turn may take.
func turnWithin(every int64) int64 { return min(turnReadings, (millis(turnLasts)+every/2)/every) }

// learn takes in a number of a probe with a known resolution.
func (f *flicker) learn(v float64, at int64, step float64, every int64, moved bool) {
	if f.Waits++; f.FarAt != 0 && v == f.Far {
		f.FarAt = at
	}
	if !moved {
		return
	}
	f.Of, f.Waits = f.Of+f.Waits, 0
	if f.Of > turnsOf {
		f.Of, f.Turns = f.Of/2, f.Turns/2
	}
	back := f.Far - v
	if !f.Up {
		back = -back
	}
	switch {
	case f.FarAt == 0 || step == 0:
		f.Far, f.FarAt, f.Between = v, at, false
	case back <= 0:
		f.Far, f.FarAt, f.Between = v, at, false
	case back < 1.9*step:
		f.Between = true
	default:
		within := turnWithin(every) * every
		if (f.Between || back > 3.9*step) && at-f.FarAt <= within {
			if at-f.TurnAt <= 2*within {
				f.Turns++
			}
			f.TurnAt = at
		}
		f.Up, f.Far, f.FarAt, f.Between = !f.Up, v, at, false
	}
}

// leaves is the least chance that a reading differs from the one before, wherever
// the level lies; 0 when not known.
func (f *flicker) leaves(every int64) float64 {
	within := turnWithin(every)
	if f.Turns < turnsLeast || within < turnShort {
		return 0
	}
	rate := (f.Turns - turnsSure*math.Sqrt(f.Turns)) / f.Of
	return min(leavesTurns*turnReadings/float64(within)*math.Sqrt(rate), leavesMost)
}

// never tells whether a run of equal numbers so long, in ms, with a reading every so
// many, is met less than once in neverYears.
func (f *flicker) never(run, every int64) bool {
	readings := neverYears * 365.25 * float64(day) / float64(every)
	return float64(run)/float64(every)*-math.Log1p(-f.leaves(every)) > math.Log(readings)
}
