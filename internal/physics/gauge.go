package physics

import (
	"cmp"
	"math"
	"time"
)

// A Gauge is a probe with its faults, all of them functions of time. Cheap
// moisture probes err by 5 to 9 points of volume (Nagahage et al. 2019,
// Agriculture 9:141); the parts into which that is split here are a choice.
type Gauge struct {
	Dice    Dice
	Bias    float64       // of the calibration, in the quantity's unit
	Gain    float64       // of the calibration: 0.02 reads 2 % of Pivot too far from Pivot
	Pivot   float64       // where Gain does nothing
	White   float64       // deviation from one reading to the next
	Wander  float64       // deviation of a slow drift
	Drifts  time.Duration // how long the drift takes to change; 0 takes two days
	PerK    float64       // daily artefact: units per kelvin of the electronics over 18 °C
	Contact float64       // deviation of the contact with the stuff, which jumps
	Jumps   time.Duration // how long a contact stands; 0 takes ten days
	Step    float64       // coarseness of the number sent; 0 is fine
}

// Clean is what the probe would say without noise: truth through its
// calibration, which may be wrong.
func (g Gauge) Clean(truth float64) float64 {
	return truth + g.Bias + g.Gain*(truth-g.Pivot)
}

// Read is what the probe says at t, its electronics being at airC.
func (g Gauge) Read(t time.Time, truth, airC float64) float64 {
	v := g.Clean(truth) + g.PerK*(airC-18)
	if g.White > 0 {
		v += g.White * g.Dice.Named("white").Normal(t.UnixMilli())
	}
	if g.Wander > 0 {
		v += g.Wander * g.Dice.Named("wander").Smooth(t, cmp.Or(g.Drifts, 48*time.Hour))
	}
	if g.Contact > 0 {
		v += g.Contact * g.Dice.Named("contact").Stair(t, cmp.Or(g.Jumps, 240*time.Hour))
	}
	if g.Step > 0 {
		v = math.Round(v/g.Step) * g.Step
	}
	return v
}
