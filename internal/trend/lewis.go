package trend

import "math"

// turns are the moistures, kg/kg, at which drying is tried to turn from steady
// to falling; 0 is never. Below a turn the rate is in proportion to what is
// left to lose.
var turns = [...]float64{0, 0.6, 1, 1.5, 2.2, 3, 4}

const (
	dryDraws   = 2    // guesses drawn for each way of drying
	dryDay     = 0.5  // spread of the logarithm of one day's drying
	drySeason  = 0.25 // and of many days'
	dryContact = 1.0  // points by which a probe's contact may have it off
)

// A dryCourse is one way of drying: level now, rate now, and where it turns.
type dryCourse struct{ level, rate, turn float64 }

// before is the moisture so many hours ago.
func (c dryCourse) before(hours float64) float64 {
	if c.level >= c.turn {
		return c.level + c.rate*hours
	}
	k := c.rate / (c.level - dryEnd)
	if since := math.Log((c.turn-dryEnd)/(c.level-dryEnd)) / k; hours > since {
		return c.turn + k*(c.turn-dryEnd)*(hours-since)
	}
	return dryEnd + (c.level-dryEnd)*math.Exp(k*hours)
}

// reaches is in how many hours the moisture falls to w; +Inf for never.
func (c dryCourse) reaches(w float64) float64 {
	switch {
	case c.level <= w:
		return 0
	case w <= dryEnd && c.turn > 0:
		return math.Inf(1)
	case w >= c.turn:
		return (c.level - w) / c.rate
	}
	steady, k := 0.0, c.rate/(c.level-dryEnd)
	from := c.level
	if c.level > c.turn {
		steady, from = (c.level-c.turn)/c.rate, c.turn
		k = c.rate / (c.turn - dryEnd)
	}
	return steady + math.Log((from-dryEnd)/(w-dryEnd))/k
}

// A dryFit is one way of drying with how likely it is: as a logarithm, and as a
// part of how likely the likeliest is.
type dryFit struct {
	dryCourse
	log, weight float64
}

// fits weighs every way of drying against the past days, and gives those worth
// anything. Levels and rates are tried around the straight line through the
// past.
func (d *dryPast) fits() []dryFit {
	rates := d.rates()
	all := make([]dryFit, 0, len(levelsTried)*len(rates)*len(turns))
	best := math.Inf(-1)
	for _, off := range levelsTried {
		level := max(d.level+off*d.sdNow, dryEnd+0.01)
		for _, rate := range rates {
			steady := math.NaN() // all turns still ahead have one past
			for _, turn := range turns {
				f := dryFit{dryCourse: dryCourse{level, rate, turn}, log: steady}
				if turn > level || math.IsNaN(steady) {
					f.log = d.match(f.dryCourse) + f.likely()
				}
				if turn <= level {
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
func reached(w float64, likely []dryFit) *cloud {
	c := cloud{guesses: make([]guess, 0, dryDraws*len(likely))}
	for _, fit := range likely {
		for range dryDraws {
			contact, weather := c.deal.pair()
			c.add(weathered(fit.reaches(w+dryContact*point(w)*contact), weather), fit.weight)
		}
	}
	return &c
}

// point is one point of % wet basis in kg/kg, at a moisture in kg/kg.
func point(w float64) float64 { return (1 + w) * (1 + w) / 100 }

// likely is the logarithm of how likely a rate is beforehand: some tenths of a
// point a day. A choice, after a gallon in two or three weeks being an
// ordinary dose for a barrel; it keeps a day or two of noise from passing for
// fast drying.
func (c dryCourse) likely() float64 {
	z := math.Log(c.rate*24/point(c.level)/0.4) / 1.1
	return -z * z / 2
}

// weathered is a time of drying in weather other than the past's: one day is
// easily half as fast again as the next, many days even out, yet a season
// does not. Choices.
func weathered(hours, off float64) float64 {
	return hours * math.Exp(off*math.Sqrt(drySeason*drySeason+dryDay*dryDay/(1+hours/36)))
}

// rates tried, kg/kg per hour: around the line's, closest together where it is
// likeliest, or up to a gentle one where the line does not fall.
func (d *dryPast) rates() (r [len(ratesTried)]float64) {
	mid := max(d.rate, 0.1*d.sdNow/24)
	for i, part := range ratesTried {
		r[i] = mid * part
	}
	return r
}

var ratesTried = [...]float64{0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.1, 1.2, 1.4, 1.7, 2.1, 3}

// match is the logarithm of how likely the past is under a course. Day means
// twelve hours apart share most of their hours, so each counts for half; one
// far off, as after a step of the probe, counts for little more than one at
// four deviations.
func (d *dryPast) match(c dryCourse) float64 {
	product := 1.0 // of at most 28 parts of at most 2.5e5: no overflow
	for i, t := range d.t {
		z := (d.w[i] - c.before(-t)) / d.sd[i]
		product *= 1 + min(z*z, 1e6)/4
	}
	return -2.5 * math.Log(product) / dryShared
}
