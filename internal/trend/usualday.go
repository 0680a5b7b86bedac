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

// beyondDays tells whether the bin has risen more than earlier days did over
// the same hours, and still does: since its coolest hour of the last day, and
// over the last three hours.
func (p *past) beyondDays(hours []float64, fed bool, when calendar) bool {
	coolest, low := 0.0, math.Inf(1)
	for _, s := range p.spots[:len(p.spots)-1] {
		if s.v < low {
			coolest, low = s.h, s.v
		}
	}
	last := p.last.v
	back := int(math.Ceil(-coolest))
	whole, days := usualRise(hours, back, when)
	recent, _ := usualRise(hours, 3, when)
	rise, rise3 := last-low, p.rise(p.values(), 3)
	switch {
	case math.IsNaN(rise3):
		return false
	case days == 0: // no day to compare with: only what no morning does
		return back >= 23 && rise > 6 && rise3 > 0.5
	case days < 3:
		return rise > 1.7*whole+3 && rise3 > 1.5*recent+0.5
	}
	if back >= 18 && rise > 6+1.2*whole && rise3 > 0.5+1.3*recent {
		return true // no sun shines so long
	}
	more, weather := 2.2, 4.0
	if fed {
		more, weather = 1.5, 1.2
	}
	return rise > 1.5+more*whole+weather*dayToDay(hours) && rise3 > 0.5+1.3*recent
}

// dayToDay is how much a day usually differs from the one before at the same
// hour, K, up or down.
func dayToDay(hours []float64) float64 {
	var changes []float64
	for i := len(hours) - 1 - 24; i-24 >= 0; i -= 6 {
		if d := hours[i] - hours[i-24]; !math.IsNaN(d) {
			changes = append(changes, math.Abs(d))
		}
	}
	if len(changes) == 0 {
		return 1
	}
	return Median(changes)
}

// usualRise is how much earlier days rose over the span of so many hours that
// ends at this hour of the day: near the greatest of them, but not led by a
// few days of feeding. days counts them.
func usualRise(hours []float64, back int, when calendar) (rise float64, days int) {
	rises := when.sameHours(hours, back, 0)
	for i := range rises {
		rises[i] = max(0, rises[i])
	}
	if len(rises) == 0 {
		return 0, 0
	}
	return quantileSorted(rises, 0.7), len(rises)
}
