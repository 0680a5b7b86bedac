package trend

import "math"

// turns are the moistures, kg/kg, at which drying is tried to turn from steady
// to falling; 0 is never. Below a turn the rate is in proportion to what is
// left to lose.
var turns = [...]float64{0, 0.6, 1, 1.5, 2.2, 3, 4}

const (
	dryDay    = 0.5  // spread of the logarithm of one day's drying
	drySeason = 0.12 // and of many days'
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

// weigh adds to the cloud when each way of drying reaches w, weighted by how
// well it matches the past days. Levels and rates are tried around the
// straight line through the past.
func (d *dryPast) weigh(w float64, c *cloud) {
	type tried struct {
		dryCourse
		log float64
	}
	var all []tried
	best := math.Inf(-1)
	for _, off := range [...]float64{-1.6, -0.8, 0, 0.8, 1.6} {
		for _, rate := range d.rates() {
			for _, turn := range turns {
				course := dryCourse{max(d.level+off*d.sdNow, dryEnd+0.01), rate, turn}
				fit := tried{course, d.match(course)}
				all, best = append(all, fit), max(best, fit.log)
			}
		}
	}
	for i, fit := range all {
		if weight := math.Exp(fit.log - best); weight > 1e-3 {
			c.add(weathered(fit.reaches(w), spreadNormal(i, 2)), weight)
		}
	}
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
	sum := 0.0
	for i, t := range d.t {
		z := (d.w[i] - c.before(-t)) / d.sd[i]
		sum -= 2.5 * math.Log1p(z*z/4)
	}
	return sum / dryShared
}
