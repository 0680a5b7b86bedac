package ingest

import (
	"math"
	"time"
)

// A thermometer that is knocked, or has a bad contact, is hot at once, and stays
// or comes back. Feed heats a spot on and on: it was warming before, or will be at the
// next reading. A probe that speaks every ten minutes shows which by how far it came;
// one that speaks every two hours by whether it goes on. Its twin tells that the
// weather did not do it.
//
// That a bed heats by no more than 2.2 K an hour is a choice, as in package trend; the
// rest is common practice, no source.
const (
	leapLeast   = 1.5              // K, and
	leapHour    = 2.2              // K more for each hour between two readings,
	leapMost    = 4.0              // K together: from calm no heap starts faster between two readings
	leapWavers  = 3.0              // and so many usual changes of the difference
	leapGoesOn  = 0.12             // of it that a climb goes on by at the next reading,
	leapCame    = 0.3              // or came by at the one before
	leapFlat    = 2.5              // usual changes of the difference
	leapWhole   = 4 * time.Hour    // in more than this a heap may come up nearly whole, and little tells
	leapSpaced  = 10 * time.Minute // readings nearer than this are one
	leapSettles = 45 * time.Minute // in less than that a probe that was moved may still be settling
)

// beyond is by how much a value is further above every fresh twin than when the
// probe was last taken for right, and by how much it was rising then.
func (p *probe) beyond(v float64, at int64) (by, rose, wavers float64, known bool) {
	by = math.Inf(1)
	for t, other := range p.freshTwins(at) {
		b := t.beside()
		if b.At == 0 || b.Steps < learnt || p.Jump.Leap == 0 && at-b.At > 3*p.every() {
			continue
		}
		if leap := v - other - b.Above; leap < by {
			by, rose, wavers, known = leap, b.Rose, b.Wavers, true
		}
	}
	return by, rose, wavers, known
}

// goesOn is how much further a probe must come for a leap to be a climb.
func (p *probe) goesOn(leap, wavers float64) float64 {
	if p.every() > millis(leapWhole) {
		return max(leapGoesOn/3*leap, wavers, 1.01*p.Step)
	}
	return max(leapGoesOn*leap, leapFlat*wavers, 1.01*p.Step)
}

// leaps tells whether a temperature is higher above its twins, out of calm, than
// feed heats a spot between two readings.
func (p *probe) leaps(v float64, at int64) bool {
	if len(p.twins) == 0 || !p.temperature() || v-p.V < leapLeast/2 {
		return false
	}
	by, rose, wavers, known := p.beyond(v, at)
	gap := max(hours(p.T, at), leapSpaced.Hours())
	return known && by > min(leapLeast+leapHour*gap, leapMost)+leapWavers*wavers && v-p.V > by/2 && rose < max(leapCame*by, p.goesOn(by, wavers))
}

// climbsOn tells whether what looked like a leap has gone on as a climb does.
func (p *probe) climbsOn(c candidate, at int64) bool {
	if c.N < 2 || c.N > 3 || c.Leap == 0 || at-c.Begun < millis(leapSettles) {
		return false
	}
	by, _, wavers, known := p.beyond(c.V, at)
	on := p.goesOn(c.Leap, wavers)
	return known && by-c.Leap >= on && c.V-c.Held >= on/2 // its own rise, not just its twin's fall
}

// learnBeside takes in how far a probe that is taken for right is above its twins.
func (p *probe) learnBeside(v float64, at int64) {
	if !p.temperature() || at-p.Twin.BesideAt < millis(leapSpaced) {
		return
	}
	p.Twin.BesideAt = at
	for t, other := range p.freshTwins(at) {
		b, above := t.beside(), v-other
		switch gap := at - b.At; {
		case b.At == 0 || gap > 3*p.every():
			b.Rose = 0
		default:
			b.Rose = above - b.Above
			b.Steps = min(b.Steps+1, 8*learnt)
			size := math.Abs(b.Rose)
			if b.Steps > learnt {
				size = min(size, 3*max(b.Wavers, p.Step))
			}
			b.Wavers += (size - b.Wavers) / float64(b.Steps)
		}
		b.Above, b.At = above, at
	}
}
