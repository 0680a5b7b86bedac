package scenariotest

import (
	"math"
	"time"

	"binwatchd/internal/farm"
)

// A Gap is work at a bin that leaves air around its moisture probe, which reads too
// little until that has settled. How much and how long is from memory: a few points
// to a quarter of the level, gone to a third of it within 3 to 12 hours.
type Gap struct {
	At     time.Time // when the probe is in its place again
	Out    time.Duration
	Turned bool    // jotted; else the probe was taken out for a while and nobody jotted it
	Points float64 // that it reads too little at first
	Fades  time.Duration
}

// Gap is the work of a case: turned and jotted in every other one.
func (r *Run) Gap() Gap {
	d := r.dice.Named("gap")
	g := Gap{
		At:     r.Case.Start.Add(time.Duration(d.Between(0, 10*24, 18*24)) * time.Hour),
		Turned: r.Case.Seed%2 == 0, Points: d.Between(1, 4, 18), Fades: time.Duration(d.Between(2, 3*60, 12*60)) * time.Minute,
	}
	if !g.Turned {
		g.Out = time.Duration(d.Between(3, 30, 200)) * time.Minute
	}
	return g
}

// Reads is what the moisture probe says where it would say v without the work.
func (g Gap) Reads(v float64, at time.Time) float64 {
	switch since := at.Sub(g.At); {
	case since >= 0:
		return v - g.Points*math.Exp(-since.Hours()/g.Fades.Hours())
	case since >= -g.Out:
		return 3 // in the air
	}
	return v
}

// Jot is what the keeper wrote; ok is false where that is nothing.
func (g Gap) Jot() (j farm.Jot, ok bool) {
	return farm.Jot{At: g.At, Bin: BinName, What: farm.Turned}, g.Turned
}
