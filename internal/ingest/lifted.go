package ingest

import (
	"math"
	"time"

	"binwatchd/internal/farm"
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
func (d *Doubter) fallen(i int, v float64, at int64) bool {
	t := &d.tracks[i]
	if d.farm.Probes[i].Measures != farm.Moisture || t.Base.From == 0 || t.T-t.Base.From < millis(baseKnown) || t.worked(at) {
		return false
	}
	if t.Jump.N > 0 {
		at = t.Jump.Begun // it fell then, and has been heard all the time since
	}
	l := d.contexts[i].limits
	return t.Base.V-v > max(t.widen(l, l.fast), wanders*t.Base.Wander)+fallHour*hours(t.T, at)
}

// room is what the air around a bin's probe reads, where that is known.
func (d *Doubter) room(i int, at int64) (float64, bool) {
	if d.contexts[i].room < 0 || d.farm.Probes[i].Measures != farm.Temperature {
		return 0, false
	}
	return d.fresh(d.contexts[i].room, at)
}

// learnFollow takes in whether a probe reads what the room does: a small tub of
// castings always will, and its probe is not in the air for that.
func (d *Doubter) learnFollow(i int, v float64, at int64) {
	room, ok := d.room(i, at)
	if !ok {
		return
	}
	t, like := &d.tracks[i], 0.0
	if math.Abs(v-room) <= roomly {
		like = 1
	}
	if t.FollowAt != 0 {
		dt := min(hours(t.FollowAt, at), 1)
		t.Follow += (1 - math.Exp(-dt/followMemory.Hours())) * (like - t.Follow)
	}
	t.FollowAt = at
}

// withRoom tells whether a probe that follows the room has followed it.
func (d *Doubter) withRoom(i int, v float64, at int64) bool {
	room, ok := d.room(i, at)
	return ok && d.tracks[i].Follow > follower && math.Abs(v-room) <= roomly
}

// intoRoom tells whether a probe that speaks seldom has come, between two
// readings, from far to the room's temperature, where it has hardly ever been.
// A bin might follow its room so far in those hours; but then it would have
// followed it before.
func (d *Doubter) intoRoom(i int, v float64, at int64) bool {
	room, ok := d.room(i, at)
	t := &d.tracks[i]
	return ok && at-t.Heard >= millis(time.Hour) && t.known() >= millis(followMemory) && t.Follow < stranger &&
		math.Abs(v-room) <= roomly && math.Abs(t.V-room) > unlike && math.Abs(v-t.V) >= fromFar
}

// stillInAir tells whether a probe that lies in the air goes on reading the
// room's temperature. That the room passes by the bin's old level is no return.
func (d *Doubter) stillInAir(i int, v float64, at int64) bool {
	room, ok := d.room(i, at)
	return ok && d.tracks[i].Jump.Air && math.Abs(v-room) <= roomly
}

// breathe notes whether a level that waits to be believed is the room's. A
// thermometer takes the air's temperature within minutes of being lifted out;
// what comes near it later is met by chance.
func (d *Doubter) breathe(i int, c *candidate, at int64) {
	room, ok := d.room(i, at)
	if !ok {
		return
	}
	t := &d.tracks[i]
	switch off := math.Abs(c.V - room); {
	case c.Air && off > unlike:
		c.Air, c.Aired, c.Since = false, true, at
	case off <= roomly && at-c.Begun <= millis(time.Hour) && math.Abs(t.V-room) > unlike && t.Follow <= follower:
		c.Air = true
	}
}

// unnatural tells whether a level that waits to be believed is none that a bin
// comes to by itself.
func (d *Doubter) unnatural(i int, c candidate) bool {
	t, known := &d.tracks[i], d.tracks[i].known() >= millis(lastsAir)
	switch {
	case d.farm.Probes[i].Measures != farm.Moisture:
		return c.Air && known
	case !c.Fast:
		return false
	}
	return c.V < boneDry || known && (c.V < halved*t.V || c.Mean < d.driest(i, c))
}

// driest is how far a moisture may have come down by itself: no further than
// probe and bin are known to waver. One that came up again, as one does that is
// put back into its bin, may find it dried since it was last believed.
func (d *Doubter) driest(i int, c candidate) float64 {
	t, l := &d.tracks[i], d.contexts[i].limits
	low := t.Base.V - t.widen(l, l.fast)
	if c.Rose {
		low -= dryDay * hours(t.T, c.Begun) / 24
	}
	return low
}

// known is for how long the probe had a level, ms.
func (t *track) known() int64 { return t.T - t.Begun }

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
func (d *Doubter) explained(i int, c candidate, at int64) bool {
	t := &d.tracks[i]
	moisture := d.farm.Probes[i].Measures == farm.Moisture
	switch {
	case moisture && c.V >= boneDry && c.V >= halved*t.V && t.Worked >= c.Begun-workedAfter:
		return at-c.Since >= millis(lastsWorked)
	case t.Handled > c.Begun+workedBefore:
		return at-max(c.Since, t.Handled) >= millis(lastsWorked)
	case around(t.Renewed, c.Begun):
		return at-c.Since >= millis(lastsWorked)
	case around(t.Handled, c.Begun) && moisture:
		return c.V >= boneDry && at-c.Since >= millis(lastsWorked)
	case around(t.Handled, c.Begun):
		return at-c.Since >= millis(lastsAir)
	}
	return false
}
