package trend

import (
	"math"
	"time"
)

const (
	approachLeast = 6    // points that make a fit
	approachDraws = 9    // guesses drawn for each rate tried
	approachEnd   = 20.0 // spans of the data looked ahead
)

// An Approach is a level on its way to a resting value, by a first-order
// approach: y = End + (Now−End)·e^(−k·h), Newton's law of cooling and its like.
type Approach struct {
	End      float64 // where it is heading
	EndSD    float64 // how far that may be off
	Now      float64 // fitted level at the newest point
	PerHour  float64 // k, 1/h
	Crossing Crossing
}

// ApproachFit fits such an approach to a level y at times t, hours from now
// and not after it, and tells when it crosses limit, from whichever side, or
// that it never will. Each point may stray by sd, independently. For every
// rate tried the best End and level follow by least squares; rates count by
// how well they match. Quiet with fewer than six points, or when the level
// stands within sd of where it began.
func ApproachFit(t, y []float64, sd, limit float64, now time.Time) Approach {
	if len(t) != len(y) || len(t) < approachLeast || !(sd > 0) {
		return Approach{Crossing: Crossing{Quiet: true}}
	}
	fits := approachRates(t, y, sd)
	out := Approach{Crossing: Crossing{Quiet: true}}
	best := math.Inf(-1)
	for _, f := range fits {
		if f.log > best {
			best = f.log
			out.End, out.EndSD, out.PerHour, out.Now = f.end, f.endSD, f.k, f.end+f.reach
		}
	}
	if math.IsInf(best, -1) || moved(y) < sd {
		return out
	}
	if (out.Now-limit)*(y[0]-limit) < 0 {
		out.Crossing = Crossing{Past: true, Chance: 1, Crosses: now, Earliest: now, Latest: now}
		return out
	}
	var c cloud
	for _, f := range fits {
		if weight := math.Exp(f.log - best); weight > 1e-3 {
			f.draw(&c, weight, limit, approachEnd*-t[0])
		}
	}
	out.Crossing = c.crossing(now, 0.5)
	return out
}

// moved is how far the level of the newest third lies from the oldest third's.
func moved(y []float64) float64 {
	n := len(y) / 3
	return math.Abs(meanOf(y[len(y)-n:]) - meanOf(y[:n]))
}

// An approachRate is the least-squares fit for one rate: y = end + reach·e^(−k·h).
type approachRate struct {
	k, end, reach     float64
	endSD, reachSD, r float64 // r: correlation of the errors of end and reach
	log               float64
}

// approachRates fits a row of rates, from a fifth of the data's span for the
// time constant to three times it.
func approachRates(t, y []float64, sd float64) (fits []approachRate) {
	span := t[len(t)-1] - t[0]
	if !(span > 0) {
		return nil
	}
	const rates = 24
	for i := range rates {
		k := 1 / (span * 0.1 * math.Pow(30, float64(i)/(rates-1)))
		if f, ok := approachAt(k, t, y, sd); ok {
			fits = append(fits, f)
		}
	}
	return fits
}

// approachAt solves the least squares for end and reach at one rate.
func approachAt(k float64, t, y []float64, sd float64) (f approachRate, ok bool) {
	var n, sx, sy, sxx, sxy, syy float64
	for i := range t {
		x := math.Exp(-k * t[i])
		n, sx, sy, sxx, sxy, syy = n+1, sx+x, sy+y[i], sxx+x*x, sxy+x*y[i], syy+y[i]*y[i]
	}
	det := n*sxx - sx*sx
	if !(det > 1e-9*n*sxx) {
		return f, false
	}
	f.k = k
	f.reach = (n*sxy - sx*sy) / det
	f.end = (sy - f.reach*sx) / n
	f.endSD, f.reachSD = sd*math.Sqrt(sxx/det), sd*math.Sqrt(n/det)
	f.r = -sx / math.Sqrt(n*sxx)
	misfit := syy - f.end*sy - f.reach*sxy
	f.log = -misfit / (2 * sd * sd)
	return f, true
}

// draw adds guesses of when the fit crosses the limit, spread as its errors
// are.
func (f *approachRate) draw(c *cloud, weight, limit, ahead float64) {
	for range approachDraws {
		a, b := c.deal.pair()
		end := f.end + f.endSD*a
		reach := f.reach + f.reachSD*(f.r*a+math.Sqrt(max(0, 1-f.r*f.r))*b)
		c.add(approachCrosses(end, reach, f.k, limit, ahead), weight)
	}
}

// approachCrosses is in how many hours end + reach·e^(−k·h) meets the limit;
// +Inf for not in time.
func approachCrosses(end, reach, k, limit, ahead float64) float64 {
	part := (limit - end) / reach
	switch {
	case part >= 1: // it lies behind already
		return 0
	case !(part > 0):
		return math.Inf(1)
	}
	if h := -math.Log(part) / k; h <= ahead {
		return h
	}
	return math.Inf(1)
}
