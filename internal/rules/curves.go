package rules

import (
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/trend"
)

// curves are the slow pasts of a zone that forecasts are drawn from.
type curves struct {
	Temp, Moist trend.Track
}

func newCurves() curves { return curves{trend.NewTrack(), trend.NewTrack()} }

// feel lets a believed reading into the slow past. One without a true time
// would bend the curve, so it stays out.
func (s *State) feel(p *probe, r *farm.Reading) {
	if r.Uncertain {
		return
	}
	switch {
	case p.zone == nil:
		p.Air.Add(r.At, r.Value)
	case p.zone.holding(r.At):
	case p.spec.Measures == farm.Temperature:
		p.zone.Husbandry.Curves.Temp.Add(r.At, forCurve(p.zone.temps, r, p.zone.Temp))
	case p.spec.Measures == farm.Moisture:
		p.zone.Husbandry.Curves.Moist.Add(r.At, forCurve(p.zone.moists, r, p.zone.Moist))
	}
}

// forCurve is what a curve is drawn from: the reading itself, which does not
// lag as a running median does; the level where several probes, each with an
// offset of its own, speak for one zone.
func forCurve(probes []*probe, r *farm.Reading, l level) float64 {
	if len(probes) == 1 {
		return r.Value
	}
	return l.Value
}

// forgetCurves starts the curves of a zone afresh at t.
func (z *zone) restartCurves(t time.Time) {
	z.Husbandry.Curves.Temp.Restart(t)
	z.Husbandry.Curves.Moist.Restart(t)
}

// shift: a fit over times that were wrong is worth nothing, so a real jump
// starts the curves anew.
func (c *curves) shift(d time.Duration) {
	if d.Abs() > trend.NewTrack().Tens.Step {
		c.Temp.Clear()
		c.Moist.Clear()
	}
}
