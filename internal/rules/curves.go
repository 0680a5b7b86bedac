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
		p.zone.Husbandry.Curves.Temp.Add(r.At, p.zone.Temp.Value)
	case p.spec.Measures == farm.Moisture:
		p.zone.Husbandry.Curves.Moist.Add(r.At, p.zone.Moist.Value)
	}
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
