package rules

import (
	"math"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/trend"
)

const (
	pastStep  = 3 * time.Hour
	pastSteps = 31 * 8
	dayStep   = 24 * time.Hour
	daysKept  = 366 // as far back as a jot may lie
)

// A past is how warm and moist a zone was, for what is jotted late: food and
// cocoons go by the temperatures of the time since they were given, whenever
// the line is written. Of the last month it keeps every three hours, of the
// last year the days: under three kilobytes.
type past struct {
	Warm  trend.Series // °C, by three hours
	Days  trend.Series // °C, by days
	Moist trend.Series // % wet basis, by days
}

func newPast() past {
	return past{
		Warm: trend.NewSeries(pastStep, pastSteps), Days: trend.NewSeries(dayStep, daysKept), Moist: trend.NewSeries(dayStep, daysKept),
	}
}

// pastNear is how far off a temperature counts as known: slow probes leave hours
// between.
const pastNear = 4 * pastStep

// remember notes a believed reading of a zone, or of the air around it: that
// speaks for a zone without a thermometer, or whose own has been quiet. One
// without a true time counts where nothing else is known of the day.
func (s *State) remember(p *probe, r *farm.Reading) {
	switch z, q := p.zone, p.spec.Measures; {
	case z != nil && q == farm.Temperature:
		z.Husbandry.Past.warm(r, z.temp.Value)
	case z != nil && q == farm.Moisture && z.spec.Aim == farm.Living:
		z.Husbandry.Past.Moist.Add(r.At, z.moist.Value)
	case z == nil && q == farm.Temperature:
		for _, z := range s.zones {
			if z.bin.ambient == p && r.At.Sub(z.temp.At) > pastNear {
				z.Husbandry.Past.warm(r, r.Value)
			}
		}
	}
}

func (p *past) warm(r *farm.Reading, tempC float64) {
	if _, known := p.Days.At(r.At); known && r.Uncertain {
		return
	}
	p.Warm.Add(r.At, tempC)
	p.Days.Add(r.At, tempC)
}

// warmth is how warm the zone was at t. Where that is not known it is what was
// known nearest to t, and assumed is true; ok is false when nothing ever was.
func (p *past) warmth(t time.Time) (tempC float64, assumed, ok bool) {
	for off := time.Duration(0); off <= pastNear; off += pastStep {
		for _, near := range []time.Time{t.Add(-off), t.Add(off)} {
			if v, ok := p.Warm.At(near); ok {
				return v, false, true
			}
		}
	}
	if v, ok := p.Days.At(t); ok {
		return v, false, true
	}
	v, ok := p.Days.Nearest(t)
	return v, true, ok
}

// moistness is how moist the zone was on the day of t or the one before, NaN
// when that is not known.
func (p *past) moistness(t time.Time) float64 {
	for _, day := range []time.Time{t, t.Add(-dayStep)} {
		if v, ok := p.Moist.At(day); ok {
			return v
		}
	}
	return math.NaN()
}

// shift moves what was noted from a moment on: the clock was put right.
func (p *past) shift(d time.Duration, from time.Time) {
	for _, s := range []*trend.Series{&p.Warm, &p.Days, &p.Moist} {
		s.Shift(d, from)
	}
}

// A reckoning is how far something that goes by the temperature has been
// reckoned, and how much of that stands on assumptions.
type reckoning struct {
	Upto        time.Time
	Assumed     time.Duration // of the time up to then
	AssumedUpto time.Time     // end of the last of it
	AssumedC    float64       // °C taken for that
}

// A stretch is a time at one temperature and moisture.
type stretch struct {
	From, To        time.Time
	TempC, MoistPct float64
	Assumed         bool // no temperature is known of it
}

func (t stretch) days() float64 { return t.To.Sub(t.From).Hours() / 24 }

// take counts a stretch as reckoned.
func (r *reckoning) take(t stretch) {
	if r.Upto = t.To; t.Assumed {
		r.Assumed, r.AssumedUpto, r.AssumedC = r.Assumed+t.To.Sub(t.From), t.To, t.TempC
	}
}

// through goes on with a reckoning to a time, a stretch at one temperature
// after the other. Where no temperature was ever known it stays where it is: it
// goes on from there when one is.
func (r *reckoning) through(p *past, to time.Time, each func(stretch)) {
	for r.Upto.Before(to) {
		end := r.Upto.Truncate(pastStep).Add(pastStep)
		if end.After(to) {
			end = to
		}
		mid := r.Upto.Add(end.Sub(r.Upto) / 2)
		tempC, assumed, ok := p.warmth(mid)
		if !ok {
			return
		}
		one := stretch{From: r.Upto, To: end, TempC: tempC, MoistPct: p.moistness(mid), Assumed: assumed}
		r.take(one)
		each(one)
	}
}

// live lets food be eaten and cocoons develop up to the zone's time at.
func (s *State) live(z *zone, at time.Time) {
	h := &z.Husbandry
	s.eat(z, at)
	for i := range h.Cohorts {
		s.incubate(z, &h.Cohorts[i], at)
	}
}

// incubate lets the cocoons of one sifting develop. What came due before the
// worms were last lifted out was lifted with them.
func (s *State) incubate(z *zone, c *cohort, at time.Time) {
	c.Reckoned.through(&z.Husbandry.Past, at, func(t stretch) {
		for k := range c.Parts {
			p := &c.Parts[k]
			sp, ok := s.farm.SpeciesByID(p.Species)
			if !ok {
				continue
			}
			p.Done += husbandry.HatchRate(sp, t.TempC) * t.days()
			if p.Done >= 1 && p.DueFrom.IsZero() {
				p.DueFrom = t.To
				p.Lifted = !t.To.After(z.Husbandry.LiftedAt)
			}
		}
	})
}

// leastSaid is how much of an assumption is worth a sentence.
const leastSaid = 24 * time.Hour

// said tells of the assumptions that a reckoning stands on; "" when there are
// hardly any.
func (s *State) sayAssumed(r reckoning, at time.Time) string {
	if r.Assumed < leastSaid {
		return ""
	}
	return " For " + farm.SayLong(r.Assumed) + " up to " + s.farm.Dates().Day(r.AssumedUpto, at) +
		" no temperature is known; " + s.farm.Units.Temperature(r.AssumedC) + " was taken."
}

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
		v := r.Value
		if len(p.measured.probes) > 1 {
			v = p.measured.Steady // each has an offset of its own; one alone does not lag as a running median does
		}
		p.zone.Husbandry.Moist.Add(r.At, v)
	}
}

// shiftTrack: a fit over times that were wrong is worth nothing, so a real jump
// of the clock starts a curve anew.
func shiftTrack(k *trend.Track, d time.Duration) {
	if d.Abs() > trend.NewTrack().Tens.Step {
		k.Clear()
	}
}
