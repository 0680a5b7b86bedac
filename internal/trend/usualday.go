package trend

import (
	"math"
)

// roomByDays takes the usual day of the last fortnight for the room: its
// shape, not its level.
func roomByDays(hours []float64, p *past) room {
	r := room{own: hours, noise: 1.5}
	shape := usualDay(hours)
	for i := range r.past {
		r.past[i] = between(shape[:], 23+gridHour(i))
	}
	for h := range r.ahead {
		r.ahead[h] = shape[(23+h)%24]
	}
	r.usualExcess = p.coolest(&r.past)
	r.sd12 = max(0.5, changeError(hours))
	return r
}

// coolest is the lowest excess over the usual day in the last one: a guess at
// where a rise began.
func (p *past) coolest(usual *grid) float64 {
	low := math.Inf(1)
	for i, s := range p.spots {
		low = min(low, s.v-usual.at(p.place[i]))
	}
	return low
}

// usualDay is the middle course of the earlier days, about a mean of 0, for
// the 24 hours ending now; all 0 when there is no earlier day.
func usualDay(hours []float64) (shape [24]float64) {
	var days [][]float64
	for end := len(hours) - 24; end >= 24; end -= 24 {
		day := hours[end-24 : end]
		if mean := meanOf(day); count(day) >= 18 {
			around := make([]float64, 24)
			for h, v := range day {
				around[h] = v - mean
			}
			days = append(days, around)
		}
	}
	for h := range shape {
		var at []float64
		for _, d := range days {
			if !math.IsNaN(d[h]) {
				at = append(at, d[h])
			}
		}
		if len(at) > 0 {
			shape[h] = Median(at)
		}
	}
	return shape
}

func count(v []float64) (n int) {
	for _, x := range v {
		if !math.IsNaN(x) {
			n++
		}
	}
	return n
}
