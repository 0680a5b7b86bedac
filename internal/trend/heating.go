package trend

import (
	"math"
	"time"
)

const (
	heatHalves  = 48   // half hours looked back: a day
	heatAhead   = 36   // hours looked ahead
	heatReach   = 20.0 // K below the limit: no bin climbs further in a look-ahead
	leastClimb  = 0.6  // K in six hours; less is not worth a fit
	fedLately   = 5 * 24 * time.Hour
	leastHalves = 8 // half hours of data that make a trend
)

// Heating is what HeatingFit finds.
type Heating struct {
	Self     bool     // the rise is the bin's own heat, not the room's
	ExcessK  float64  // K over what the room alone would have made it
	PerHour  float64  // K/h over the last three hours
	ByRoom   bool     // the room was known by its own probe; else by earlier days
	Crossing Crossing // of the limit, whatever the cause; Never when not likely in the time looked ahead
}

// HeatingFit tells self-heating from the room and foresees when a bin crosses
// limitC, looking so far ahead, 36 h at most. air is the track of the room's own probe, or nil; without it the
// room is known only by the shape of the bin's earlier days, so less is said.
//
// The room's part is a first-order body in that air (Newton's law), its time
// constant, gain and offset fitted to the fortnight; or the usual day. What
// is left over is the bin's own heat. Its course is foreseen by a cloud of
// S-shaped rises and first-order approaches weighted by how well they match
// the last day: a rise still gathering pace and one that levels off both stay
// possible until the data decide. Quiet, at almost no cost, while nothing
// climbs within reach of the limit. No published figure for an alarm was
// found; the thresholds are choices, checked by simulation.
func HeatingFit(bin, air *Track, limitC float64, ahead time.Duration, now time.Time) Heating {
	halves := halfHours(&bin.Tens, now, bin.FreshMS)
	last, climb, ok := climbing(halves)
	out := Heating{Crossing: Crossing{Quiet: true}}
	switch {
	case !ok:
		return out
	case last >= limitC:
		out.Crossing = Crossing{Past: true, Chance: 1, Crosses: now, Earliest: now, Latest: now}
	case last < limitC-heatReach || climb < leastClimb:
		return out
	}
	r := roomOf(bin, air, halves, now)
	own := r.excess(halves)
	out.ByRoom = r.byAir
	out.ExcessK = meanOf(own[heatHalves-2:]) - r.usualExcess
	out.PerHour = riseOver3(halves) / 3
	out.Self = r.tooMuch(halves, own)
	switch {
	case out.Crossing.Past:
	case out.Self:
		out.Crossing = r.foresee(halves, last, limitC, ahead.Hours(), now)
	default:
		out.Crossing = r.foreseeRoom(last, limitC, ahead.Hours(), now)
	}
	return out
}

// climbing gives the newest level and how much it lies over the level six
// hours before, or over the earliest one since the bin was opened.
func climbing(halves []float64) (last, climb float64, ok bool) {
	known := 0
	for _, v := range halves {
		if !math.IsNaN(v) {
			known++
		}
	}
	last = meanOf(halves[heatHalves-2:])
	if known < leastHalves || math.IsNaN(last) {
		return 0, 0, false
	}
	before := math.NaN()
	for i := heatHalves - 13; i < heatHalves-2 && math.IsNaN(before); i++ {
		before = halves[i]
	}
	return last, last - before, !math.IsNaN(before)
}

// halfHours gives the means of the last 48 half hours, oldest first; NaN where
// nothing was measured or the bin had not been opened yet. The newest ends
// with the ten minutes of now.
func halfHours(tens *Series, now time.Time, freshMS int64) []float64 {
	v := tens.last(now, heatHalves*3)
	end := tens.slotOf(now)
	out := make([]float64, heatHalves)
	for i := range out {
		sum, n := 0.0, 0.0
		for j := range 3 {
			slot := end - int64(heatHalves*3-1-(3*i+j))
			if x := v[3*i+j]; !math.IsNaN(x) && slot*tens.Step.Milliseconds() >= freshMS {
				sum, n = sum+x, n+1
			}
		}
		out[i] = sum / n // NaN for none
	}
	return out
}

// riseOver3 is the newest hour's mean less that of three hours before; NaN when
// either is missing.
func riseOver3(halves []float64) float64 {
	n := len(halves)
	return meanOf(halves[n-2:]) - meanOf(halves[n-8:n-6])
}

// meanOf is the mean of the values that are numbers, or NaN.
func meanOf(v []float64) float64 {
	sum, n := 0.0, 0.0
	for _, x := range v {
		if !math.IsNaN(x) {
			sum, n = sum+x, n+1
		}
	}
	return sum / n
}
