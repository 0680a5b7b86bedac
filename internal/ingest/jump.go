package ingest

import (
	"math"
	"time"

	"binwatchd/internal/farm"
)

// A candidate is a level that a probe has jumped to and that is not believed
// yet: a spike if it goes back, a real step if it lasts.
type candidate struct {
	N     int     // readings so far; 0 when there is none
	From  int64   // time of the last reading before the jump
	Begun int64   // time of its first reading
	Since int64   // since when it has lasted where it is
	Held  float64 // where it was then
	V     float64 // newest value
	Mean  float64 // of the last few
	Far   float64 // furthest it was from the level it left, with its sign
	Fast  bool    // too fast for a bin
	Air   bool    // it is the room's temperature
	Aired bool    // it was
	Rose  bool    // it came up here from a level that was too low to be believed
}

// How long a jump must last to be believed. Common practice, no source. A
// jump within what a bin can do needs three readings in a row and a while; a
// rise in moisture, a watering most likely, two readings. What no bin does is
// a probe lifted out until proven otherwise, and lying in the room it would
// prove itself soon: so the further the jump, the longer it takes, and what is
// like the air takes a word of the keeper (air.go). Where a keeper jotted work
// at the bin a jump is likely real.
const (
	lastsSpike  = 20 * time.Minute
	lastsWorked = 45 * time.Minute
	lastsFast   = 2 * time.Hour
	lastsFar    = 6 * time.Hour  // over farJump
	lastsDry    = 12 * time.Hour // a fall in moisture
	lastsAir    = 24 * time.Hour // a fall in temperature where no air is measured

	farJump = 8.0 // K
	meanOf  = 6   // readings
	settled = 2.0 // K: a fall has come to rest within this
)

// A jot explains a jump from an hour before it to three hours after it, since
// people jot when they are done, or at home.
const (
	workedBefore = int64(time.Hour / time.Millisecond)
	workedAfter  = int64(3 * time.Hour / time.Millisecond)
)

// jump judges a value against the level of its probe.
func (d *Doubter) jump(i int, v float64, at int64) farm.Doubt {
	t := &d.tracks[i]
	if d.plausible(i, v, at) && !d.stillInAir(i, v, at) {
		return farm.NoDoubt
	}
	c := d.candidate(i, v, at)
	switch {
	case d.lasted(i, c, at):
		return farm.NoDoubt
	case (c.Fast || c.Air) && t.N >= established:
		return farm.TooFast
	}
	return farm.Spike
}

// plausible tells whether a value can follow the last believed ones: within
// reach of their span, or no outlier among them, and in no case moved faster
// over the last half hour than a bin can.
func (d *Doubter) plausible(i int, v float64, at int64) bool {
	t := &d.tracks[i]
	if t.N == 0 || t.Still.Frozen {
		return true
	}
	if d.withRoom(i, v, at) {
		return true
	}
	if d.rushed(i, v, at) || d.fallen(i, v, at) || d.intoRoom(i, v, at) {
		return false
	}
	if d.away(i, v, at) == 0 || t.N >= hampelFrom && !t.hampel(v) {
		return true
	}
	return d.farm.Probes[i].Measures == farm.Moisture && v > t.V && t.worked(at)
}

// away is how far a value lies beyond the reach of the level, with its sign; 0
// within it. Reach grows with the time that nothing was heard, and a little
// with the time that nothing was believed.
func (d *Doubter) away(i int, v float64, at int64) float64 {
	t, l := &d.tracks[i], d.contexts[i].limits
	lo, hi := t.span(at)
	reach := t.widen(l, l.reach) + l.reachHour*hours(t.Heard, at) + min(0.2*hours(t.T, at), l.reach)
	switch {
	case v > hi+reach:
		return v - hi
	case v < lo-reach:
		return v - lo
	}
	return 0
}

// rushed tells whether a probe that speaks often has moved, in steps each small
// enough, further in half an hour than a bin can.
func (d *Doubter) rushed(i int, v float64, at int64) bool {
	const halfHour = 30 * 60_000
	t := &d.tracks[i]
	for k := range t.N {
		if at-t.WinAt[k] <= halfHour && d.tooFast(i, v-t.Win[k], t.WinAt[k], at) {
			lo, hi := t.span(at)
			return v < lo || v > hi
		}
	}
	return false
}

// tooFast tells whether no bin changes by this much between two moments.
func (d *Doubter) tooFast(i int, by float64, from, to int64) bool {
	t, l := &d.tracks[i], d.contexts[i].limits
	if d.farm.Probes[i].Measures == farm.Moisture && by > 0 {
		return false
	}
	return math.Abs(by) > t.widen(l, l.fast)+l.fastHour*hours(from, to)
}

// candidate takes a value that is not plausible into the level that waits to
// be believed, if it agrees with that, else into a new one.
func (d *Doubter) candidate(i int, v float64, at int64) candidate {
	t, l := &d.tracks[i], d.contexts[i].limits
	lo, hi := t.span(at)
	far := v - min(max(v, lo), hi)
	c := t.Jump
	agrees := c.N > 0 && (far > 0) == (c.Far > 0) && math.Abs(v-c.V) <= t.widen(l, l.fast)+l.fastHour*hours(t.Heard, at)
	if !agrees && !d.stillInAir(i, v, at) {
		c = candidate{From: t.Heard, Begun: at, Since: at, Held: v, Rose: c.N > 0 && c.Far < 0 && v > c.V}
	}
	c.N++
	c.V = v
	c.Mean += (v - c.Mean) / float64(min(c.N, meanOf))
	if math.Abs(far) > math.Abs(c.Far) {
		c.Far = far
	}
	c.Fast = c.Fast || d.tooFast(i, far, c.From, at) || d.fallen(i, v, at) ||
		d.farm.Probes[i].Measures == farm.Temperature && d.rushed(i, v, at)
	if rest := d.rest(i, c); c.Far < 0 && math.Abs(v-c.Held) > rest {
		c.Since, c.Held = at, v
	}
	d.breathe(i, &c, at)
	return c
}

// rest is how far a fall may still move and count as come to rest: a probe that
// dries on the bench sinks on, and one in the air swings with the day.
func (d *Doubter) rest(i int, c candidate) float64 {
	t, l := &d.tracks[i], d.contexts[i].limits
	switch {
	case d.farm.Probes[i].Measures == farm.Moisture:
		return t.widen(l, l.fast)
	case d.contexts[i].room < 0 && c.Fast && !d.contexts[i].air:
		return t.widen(l, settled)
	}
	return math.Inf(1)
}

// lasted tells whether a candidate has lasted long enough to be believed.
func (d *Doubter) lasted(i int, c candidate, at int64) bool {
	t := &d.tracks[i]
	moisture := d.farm.Probes[i].Measures == farm.Moisture
	switch {
	case moisture && c.Far > 0:
		return c.N >= 2
	case c.N < 3:
		return false
	case t.N < established:
		return true
	case d.unnatural(i, c):
		return d.explained(i, c, at)
	}
	return at-c.Since >= t.defended(c, millis(d.mustLast(i, c, moisture)))
}

// defended bounds how long a jump must last by the time that the probe has been
// known: what was said for an hour is no ground to disbelieve six.
func (t *track) defended(c candidate, lasts int64) int64 {
	return min(lasts, max(t.known(), millis(lastsSpike)))
}

func (d *Doubter) mustLast(i int, c candidate, moisture bool) time.Duration {
	pl := d.contexts[i]
	switch {
	case !c.Fast && !c.Air:
		return lastsSpike
	case d.tracks[i].worked(c.Begun):
		return lastsWorked
	case moisture:
		return lastsDry
	case c.Air, c.Far < 0 && pl.room < 0 && !pl.air:
		return lastsAir
	case (c.Aired || math.Abs(c.Far) > farJump) && !pl.air:
		return lastsFar
	}
	return lastsFast
}

// worked tells whether the keeper jotted work that explains a jump.
func (t *track) worked(since int64) bool { return around(t.Worked, since) }

// around tells whether work jotted at one time explains what began at another.
func around(worked, since int64) bool {
	return worked != 0 && since >= worked-workedBefore && since <= worked+workedAfter
}

// learnJump keeps the level that a doubted reading jumped to.
func (d *Doubter) learnJump(i int, v float64, at int64, doubt farm.Doubt) {
	t := &d.tracks[i]
	if t.N == 0 { // doubted before a restart forgot the level
		return
	}
	t.Jump = d.candidate(i, v, at)
	t.Jump.Fast = t.Jump.Fast || doubt == farm.TooFast
}

// learnLevel takes in a value of the level. One out of reach is a step that
// has lasted: the level begins anew there. Where work or water explains that,
// so does the comparison with its twins.
func (d *Doubter) learnLevel(i int, v float64, at int64, believed bool) {
	t := &d.tracks[i]
	switch {
	case !d.plausible(i, v, at):
		if t.worked(at) || d.farm.Probes[i].Measures == farm.Moisture && v > t.V {
			d.restartTwins(i)
		} else if t.N > 0 && math.Abs(v-t.Twin.Agreed) > math.Abs(t.V-t.Twin.Agreed) {
			t.Twin.Stepped = true
		}
		t.leave(at)
	case t.N > 0 && t.T == t.Heard && at-t.T <= 2*t.every(d.farm.Probes[i]):
		t.learnStep(d.contexts[i].limits, v)
	}
	t.Jump = candidate{}
	t.push(v, at)
	t.Base.learn(v, at)
	d.learnFollow(i, v, at)
	if believed {
		t.Good, t.GoodAt = v, at
	}
}
