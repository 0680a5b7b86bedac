package trend

import (
	"math"
	"time"
)

const (
	heatAhead  = 36   // hours looked ahead
	heatReach  = 20.0 // K below the limit: no bin climbs further in a look-ahead
	leastClimb = 0.6  // K in six hours; less is not worth a fit
	fastest    = 2.2  // K/h: no feed heats a bin so fast; a choice
	unfedNear  = 7.0  // K below the limit: what nobody has fed is the room, a lamp or a mat until it is nearer
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
// is left over is the bin's own heat, or the sun's, a lamp's, a heater's: it is its own
// when the bin is warmer than at this hour of any usual day before, warmer than ever
// since the feed, and a night has shown it. Its course is foreseen by a cloud of
// S-shaped rises and first-order approaches weighted by how well they match
// the last day: a rise still gathering pace and one that levels off both stay
// possible until the data decide. Quiet, at almost no cost, while nothing
// climbs within reach of the limit. Everything is fitted at the times at which
// the probe spoke, be it every ten seconds or every two hours. No published
// figure for an alarm was found; the thresholds are choices, checked by
// simulation. Only the place of now says where the sun stands.
func HeatingFit(bin, air *Track, limitC float64, ahead time.Duration, now time.Time) Heating {
	out := Heating{Crossing: Crossing{Quiet: true}}
	p, ok := bin.lately(now)
	if !ok {
		return out
	}
	last := p.last.v
	switch {
	case last >= limitC:
		out.Crossing = Crossing{Past: true, Chance: 1, Crosses: now.UTC(), Earliest: now.UTC(), Latest: now.UTC()}
	case last < limitC-heatReach || !(p.climb() >= leastClimb):
		return out
	}
	r := roomOf(bin, air, &p, now)
	now = now.UTC()
	out.ByRoom = r.byAir
	out.ExcessK = last - p.lastOf(&r.past) - r.usualExcess
	out.PerHour = p.rise(p.values(), 3) / 3
	out.Self = (r.when.lastFed() < fedLately || last >= limitC-unfedNear) && r.heatsItself() &&
		p.rise(r.excess(&p), 3) < 3*fastest && (r.byAir || out.PerHour < fastest)
	switch {
	case out.Crossing.Past:
	case out.Self:
		out.Crossing = r.foresee(&p, limitC, ahead.Hours(), now)
	default:
		out.Crossing = r.foreseeRoom(&p, limitC, ahead.Hours(), now)
	}
	return out
}

// climb is how much the newest level lies over that of six hours before, or
// over the earliest one since the bin was opened. Where nothing was heard then,
// what was heard last before that stands for it.
func (p *past) climb() float64 {
	for i, s := range p.spots {
		switch {
		case s.h < -6.6:
		case i > 0 && s.h > -5.4 && s.h-p.spots[i-1].h <= p.across():
			return p.last.v - p.spots[i-1].v
		default:
			return p.last.v - s.v
		}
	}
	return math.NaN()
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
