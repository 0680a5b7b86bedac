package trend

import (
	"math"
	"time"
)

const (
	lossLeast = 2 // whole days without which no pace is told
	lossMost  = 7 // looked back at most
)

// LossPerDay is what a zone has lost of late, kg of water per kg dry and day,
// from the means over the first and the last whole day since it was opened:
// whole days are blind to a probe that feels the day's warmth. It is negative
// while a zone gains. ok is false before two days.
func LossPerDay(k *Track, now time.Time) (perDay float64, ok bool) {
	hours := k.Hours.last(now, trackHours)
	if k.FreshMS != 0 {
		since := int(k.freshFor(now).Hours()) - drySettle
		hours = hours[len(hours)-min(len(hours), max(0, since)):]
	}
	for len(hours) > 0 && math.IsNaN(hours[0]) {
		hours = hours[1:]
	}
	for days := lossMost; days >= lossLeast; days-- {
		if len(hours) < days*24 {
			continue
		}
		past := hours[len(hours)-days*24:]
		first, last := past[:24], past[len(past)-24:]
		// A slow probe fills few hours of a day; a day with gaps of its own is none.
		usual := float64(count(past)) / float64(days)
		if least := max(3, int(0.8*usual)); count(first) < least || count(last) < least {
			continue
		}
		return (dryBasis(meanOf(first)) - dryBasis(meanOf(last))) / float64(days-1), true
	}
	return 0, false
}
