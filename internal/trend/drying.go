package trend

import (
	"math"
	"slices"
	"time"
)

// Chosen on simulated bins.
const (
	dryRecent = 6       // h whose mean is the newest level
	drySettle = 12      // h after a watering until the probe tells of the whole zone
	dryLeast  = 48      // h of data without which nothing is said
	dryAhead  = 42 * 24 // h looked ahead
	dryChance = 0.5     // of crossing at all, below which nothing is foreseen
	dryEvery  = 12      // h between the day means that are fitted
	dryFloor  = 0.25    // points by which a day's mean strays at least
	dryEnd    = 0.1     // kg/kg at which drying ends: material in equilibrium with room air, a choice
	dryShared = 24.0 / dryEvery
)

// DryingFits foresees when the moisture of a zone, % wet basis, falls past each
// of some limits. It works on kg of water per kg dry, where drying goes at a steady
// rate first and then in proportion to what is left to lose (Lewis 1921, Ind
// Eng Chem 13:427–432): an ensemble of both, weighted by how well they match the
// means over whole days since the zone was opened. Means over whole days are
// blind to a probe that feels the day's warmth; steps of a probe's contact
// are joined. Quiet before a day and a half of data; Never when it is likelier
// not to cross in six weeks. The same fit tells when a sifting window opens
// and closes.
func DryingFits(k *Track, now time.Time, limitsPct ...float64) []Crossing {
	out := slices.Repeat([]Crossing{{Quiet: true}}, len(limitsPct))
	d, newest, ok := k.sinceOpened(now)
	if !ok {
		return out
	}
	likely := d.fits()
	for i, limit := range limitsPct {
		if newest <= limit {
			out[i] = crossedAlready(now)
		} else {
			out[i] = reached(dryBasis(limit), likely).crossing(now, dryAhead, dryChance)
		}
	}
	return out
}

// criticals are the critical moistures tried, kg/kg: at that drying turns from
// steady to falling; 0 is never. Below it the rate is in proportion to what is
// left to lose.
var criticals = [...]float64{0, 0.6, 1, 1.5, 2.2, 3, 4}

const (
	dryDraws   = 2    // members drawn for each way of drying
	dryDay     = 0.5  // spread of the logarithm of one day's drying
	drySeason  = 0.25 // and of many days'
	dryContact = 1.0  // points by which a probe's contact may have it off
)

// A dryingCurve is one way of drying: level now, rate now, and critical moisture.
type dryingCurve struct{ level, rate, critical float64 }

// before is the moisture so many hours ago.
func (c dryingCurve) before(hours float64) float64 {
	if c.level >= c.critical {
		return c.level + c.rate*hours
	}
	k := c.rate / (c.level - dryEnd)
	if since := math.Log((c.critical-dryEnd)/(c.level-dryEnd)) / k; hours > since {
		return c.critical + k*(c.critical-dryEnd)*(hours-since)
	}
	return dryEnd + (c.level-dryEnd)*math.Exp(k*hours)
}

// reaches is in how many hours the moisture falls to w; +Inf for never.
func (c dryingCurve) reaches(w float64) float64 {
	switch {
	case c.level <= w:
		return 0
	case w <= dryEnd && c.critical > 0:
		return math.Inf(1)
	case w >= c.critical:
		return (c.level - w) / c.rate
	}
	steady, k := 0.0, c.rate/(c.level-dryEnd)
	from := c.level
	if c.level > c.critical {
		steady, from = (c.level-c.critical)/c.rate, c.critical
		k = c.rate / (c.critical - dryEnd)
	}
	return steady + math.Log((from-dryEnd)/(w-dryEnd))/k
}

// A dryFit is one way of drying with how likely it is: as a logarithm, and as a
// part of how likely the likeliest is.
type dryFit struct {
	dryingCurve
	log, weight float64
}

// fits weighs every way of drying against the past days, and gives those worth
// anything. Levels and rates are tried around the straight line through the
// past.
func (d *dryPast) fits() []dryFit {
	all := make([]dryFit, 0, len(levelsTried)*len(ratesTried)*len(criticals))
	middle := max(d.rate, 0.1*d.sdNow/24) // kg/kg per hour
	best := math.Inf(-1)
	for _, off := range levelsTried {
		level := max(d.level+off*d.sdNow, dryEnd+0.01)
		for _, part := range ratesTried {
			rate := middle * part
			steady := math.NaN() // all critical moistures still ahead have one past
			for _, critical := range criticals {
				f := dryFit{dryingCurve: dryingCurve{level, rate, critical}, log: steady}
				if critical > level || math.IsNaN(steady) {
					f.log = d.match(f.dryingCurve) + f.likely()
				}
				if critical <= level {
					steady = f.log
				}
				all, best = append(all, f), max(best, f.log)
			}
		}
	}
	likely := all[:0]
	for _, f := range all {
		if f.weight = math.Exp(f.log - best); f.weight >= 2e-3 {
			likely = append(likely, f)
		}
	}
	return likely
}

// levelsTried lie around the line's, in standard deviations.
var levelsTried = [...]float64{-1.6, -0.8, 0, 0.8, 1.6}

// reached gathers when each likely way of drying reaches w.
func reached(w float64, likely []dryFit) *ensemble {
	c := ensemble{members: make([]member, 0, dryDraws*len(likely))}
	for _, fit := range likely {
		for range dryDraws {
			contact, weather := c.normals.pair()
			c.add(weathered(fit.reaches(w+dryContact*onePct(w)*contact), weather), fit.weight)
		}
	}
	return &c
}

// point is one point of % wet basis in kg/kg, at a moisture in kg/kg.
func onePct(w float64) float64 { return (1 + w) * (1 + w) / 100 }

// likely is the logarithm of how likely a rate is beforehand: some tenths of a
// point a day. A choice, after a gallon in two or three weeks being an
// ordinary dose for a barrel; it keeps a day or two of noise from passing for
// fast drying.
func (c dryingCurve) likely() float64 {
	z := math.Log(c.rate*24/onePct(c.level)/0.4) / 1.1
	return -z * z / 2
}

// weathered is a time of drying in weather other than the past's: one day is
// easily half as fast again as the next, many days even out, yet a season
// does not. Choices.
func weathered(hours, off float64) float64 {
	return hours * math.Exp(off*math.Sqrt(drySeason*drySeason+dryDay*dryDay/(1+hours/36)))
}

// ratesTried lie around the line's, closest together where it is likeliest; or
// up to a gentle one where the line does not fall.
var ratesTried = [...]float64{0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.1, 1.2, 1.4, 1.7, 2.1, 3}

// match is the logarithm of how likely the past is under a curve. Day means
// twelve hours apart share most of their hours, so each counts for half; one
// far off, as after a step of the probe, counts for little more than one at
// four deviations.
func (d *dryPast) match(c dryingCurve) float64 {
	product := 1.0 // of at most 28 parts of at most 2.5e5: no overflow
	for i, t := range d.t {
		z := (d.w[i] - c.before(-t)) / d.sd[i]
		product *= 1 + min(z*z, 1e6)/4
	}
	return -2.5 * math.Log(product) / dryShared
}

// dryBasis turns % wet basis into kg of water per kg dry; over 99 % counts as 99.
func dryBasis(pct float64) float64 {
	m := min(max(pct, 0), 99) / 100
	return m / (1 - m)
}
