package ingest

import (
	"math"
	"time"
)

// A probe that was left on the bench goes on speaking. What it says is of the
// air, and no bin goes there by itself: the moisture falls within minutes or
// hours, further than any bin does; the temperature jumps to the room's. However
// long that lasts, it is not believed until the level returns or the keeper's word
// explains it.
//
// The numbers are common practice, no source: a bin loses one to three points
// of moisture a day, a thin layer in the sun perhaps ten.
const (
	boneDry = 20.0 // %: of no bin with worms
	halved  = 0.5  // of the level left
	roomly  = 1.5  // K: this near the room's air is like it
	unlike  = 3.0  // K: this far from it is not

	baseMemory = 24 * time.Hour // over which a moisture's slow level is learnt
	baseKnown  = 12 * time.Hour // before that it says nothing
	fallHour   = 0.5            // points an hour: more than any bin dries while nothing is heard
	dryDay     = 3.0            // points a day that a bin dries unseen
	wanders    = 4              // a fall is more than so many of its usual distances from the slow level

	followMemory = 3 * 24 * time.Hour
	fromFar      = 4.0 // K
	stranger     = 0.05
	follower     = 0.5 // a probe that is like the room for more than this part of the time follows it
)

// base is the slow level of a moisture.
type base struct {
	V      float64 // mean over about a day
	Wander float64 // mean distance from it
	From   int64   // since when it has been learnt; 0 when it has not
	At     int64
}

func (b *base) learn(v float64, at int64) {
	if b.From == 0 {
		*b = base{V: v, From: at, At: at}
		return
	}
	w := 1 - math.Exp(-hours(b.At, at)/baseMemory.Hours())
	b.Wander += w * (math.Abs(v-b.V) - b.Wander)
	b.V += w * (v - b.V)
	b.At = at
}

// fallen tells whether a moisture is further under its slow level than a bin
// dries in a day, in steps however small.
func (p *probe) fallen(v float64, at int64) bool {
	if !p.moisture() || p.Base.From == 0 || p.T-p.Base.From < millis(baseKnown) || p.worked(at) {
		return false
	}
	if p.Jump.N > 0 {
		at = p.Jump.Begun // it fell then, and has been heard all the time since
	}
	return p.Base.V-v > max(p.widen(p.rate.Fast), wanders*p.Base.Wander)+fallHour*hours(p.T, at)
}

// roomAir is what the air around a bin's probe reads, where that is known.
func (p *probe) roomAir(at int64) (float64, bool) {
	if !p.temperature() {
		return 0, false
	}
	return p.room.fresh(at)
}

// learnFollow takes in whether a probe reads what the room does: a small tub of
// castings always will, and its probe is not in the air for that.
func (p *probe) learnFollow(v float64, at int64) {
	room, ok := p.roomAir(at)
	if !ok {
		return
	}
	like := 0.0
	if math.Abs(v-room) <= roomly {
		like = 1
	}
	if p.FollowAt != 0 {
		dt := min(hours(p.FollowAt, at), 1)
		p.Follow += (1 - math.Exp(-dt/followMemory.Hours())) * (like - p.Follow)
	}
	p.FollowAt = at
}

// withRoom tells whether a probe that follows the room has followed it.
func (p *probe) withRoom(v float64, at int64) bool {
	room, ok := p.roomAir(at)
	return ok && p.Follow > follower && math.Abs(v-room) <= roomly
}

// intoRoom tells whether a probe that speaks seldom has come, between two
// readings, from far to the room's temperature, where it has hardly ever been.
// A bin might follow its room so far in those hours; but then it would have
// followed it before.
func (p *probe) intoRoom(v float64, at int64) bool {
	room, ok := p.roomAir(at)
	return ok && at-p.Heard >= millis(time.Hour) && p.known() >= millis(followMemory) && p.Follow < stranger &&
		math.Abs(v-room) <= roomly && math.Abs(p.V-room) > unlike && math.Abs(v-p.V) >= fromFar
}

// stillInAir tells whether a probe that lies in the air goes on reading the
// room's temperature. That the room passes by the bin's old level is no return.
func (p *probe) stillInAir(v float64, at int64) bool {
	room, ok := p.roomAir(at)
	return ok && p.Jump.Air && math.Abs(v-room) <= roomly
}

// breathe notes whether a level that waits to be believed is the room's. A
// thermometer takes the air's temperature within minutes of being lifted out;
// what comes near it later is met by chance.
func (p *probe) breathe(c *candidate, at int64) {
	room, ok := p.roomAir(at)
	if !ok {
		return
	}
	switch off := math.Abs(c.V - room); {
	case c.Air && off > unlike:
		c.Air, c.Aired, c.Since = false, true, at
	case off <= roomly && at-c.Begun <= millis(time.Hour) && math.Abs(p.V-room) > unlike && p.Follow <= follower:
		c.Air = true
	}
}

// unnatural tells whether a level that waits to be believed is none that a bin
// comes to by itself.
func (p *probe) unnatural(c candidate) bool {
	known := p.known() >= millis(lastsAir)
	switch {
	case !p.moisture():
		return c.Air && known
	case !c.Fast:
		return false
	}
	return c.V < boneDry || known && (c.V < halved*p.V || c.Mean < p.driest(c))
}

// driest is how far a moisture may have come down by itself: no further than
// probe and bin are known to waver. One that came up again, as one does that is
// put back into its bin, may find it dried since it was last believed.
func (p *probe) driest(c candidate) float64 {
	low := p.Base.V - p.widen(p.rate.Fast)
	if c.Rose {
		low -= dryDay * hours(p.T, c.Begun) / 24
	}
	return low
}

// explained tells whether the keeper's word explains a level that no bin comes
// to by itself, and has been heard for long enough.
//
// New contents explain all. What else is jotted around the jump tells that the
// lid was off, which is when a probe is forgotten on the bench: turning or
// bedding may well have halved a moisture, but it makes no bin bone dry, and
// what it did to the temperature parts from the room's within a day. Later, when
// the keeper has been told and has looked, the same jots are the answer: it is
// right as it is. A moisture that is none of the air's takes any word: something
// was done there.
func (p *probe) explained(c candidate, at int64) bool {
	since, lasts := c.Since, lastsWorked
	switch moisture := p.moisture(); {
	case moisture && c.V >= boneDry && c.V >= halved*p.V && p.Worked >= c.Begun-workedAfter:
	case p.Handled > c.Begun+workedBefore:
		since = max(since, p.Handled)
	case around(p.Renewed, c.Begun):
	case around(p.Handled, c.Begun) && moisture && c.V >= boneDry:
	case around(p.Handled, c.Begun) && !moisture:
		lasts = lastsAir
	default:
		return false
	}
	return at-since >= millis(lasts)
}
