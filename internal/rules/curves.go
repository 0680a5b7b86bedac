package rules

import (
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/trend"
)

// curves are the slow pasts of a zone as a whole that forecasts are drawn
// from. What is drawn from each thermometer apart is the probe's own Track.
type curves struct {
	Moist trend.Track
}

func newCurves() curves { return curves{trend.NewTrack()} }

// feel lets a believed reading into the slow past. One without a true time
// would bend the curve, so it stays out.
func (s *State) feel(p *probe, r *farm.Reading) {
	if p.zone == nil || !p.zone.holding(r.At) {
		s.remember(p, r)
	}
	switch {
	case r.Uncertain, p.zone != nil && p.zone.holding(r.At):
	case p.spec.Measures == farm.Temperature:
		before, known := p.Track.Newest()
		p.Track.Add(r.At, r.Value)
		if known && p.zone != nil && r.At.Sub(before) >= slowPace {
			s.refitSlow(p.zone)
		}
	case p.zone != nil && p.spec.Measures == farm.Moisture:
		p.zone.Husbandry.Curves.Moist.Add(r.At, forCurve(p.zone.moist.probes, r, p.zone.moist.level))
	}
}

// forCurve is what a zone's curve is drawn from: the reading itself, which does
// not lag as a running median does; the level where several probes, each with
// an offset of its own, speak for one zone.
func forCurve(probes []*probe, r *farm.Reading, l level) float64 {
	if len(probes) == 1 {
		return r.Value
	}
	return l.Steady
}

// mayHeat notes that something was put in at t that may heat by itself.
func (z *zone) mayHeat(t time.Time) {
	for _, p := range z.temp.probes {
		p.Track.Fed(t)
	}
}

// shiftTrack: a fit over times that were wrong is worth nothing, so a real jump
// of the clock starts a curve anew.
func shiftTrack(k *trend.Track, d time.Duration) {
	if d.Abs() > trend.NewTrack().Tens.Step {
		k.Clear()
	}
}
