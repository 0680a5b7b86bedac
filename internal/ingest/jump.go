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
	Leap  float64 // K further above its twins, at its first reading, than feed heats; 0 for none
	Rose  bool    // it came up here from a level that was too low to be believed
}

// How long a jump must last to be believed. Common practice, no source. A
// jump within what a bin can do needs three readings in a row and a while; a
// rise in moisture, a watering most likely, two readings. What no bin does is
// a probe lifted out until proven otherwise, and lying in the room it would
// prove itself soon: so the further the jump, the longer it takes, and what is
// like the air takes a word of the keeper (lifted.go). Where a keeper jotted work
// at the bin a jump is likely real.
const (
	lastsSpike  = 20 * time.Minute
	lastsWorked = 45 * time.Minute
	lastsFast   = 2 * time.Hour
	lastsFar    = 6 * time.Hour  // over farJump times what is too fast
	lastsDry    = 12 * time.Hour // a fall in moisture
	lastsAir    = 24 * time.Hour // a fall in temperature where no air is measured

	farJump = 2.0
	meanOf  = 6   // readings
	settled = 2.0 // K: a fall has come to rest within this
)

// A jot explains a jump from an hour before it to three hours after it, since
// people jot when they are done, or at home.
const (
	workedBefore = int64(time.Hour / time.Millisecond)
	workedAfter  = int64(3 * time.Hour / time.Millisecond)
)

// jumpDoubt judges a value against the level of its probe.
func (p *probe) jumpDoubt(v float64, at int64) farm.Doubt {
	if p.plausible(v, at) && !p.stillInAir(v, at) {
		return farm.NoDoubt
	}
	c := p.candidate(v, at)
	switch {
	case p.lasted(c, at):
		return farm.NoDoubt
	case (c.Fast || c.Air) && p.N >= established:
		return farm.TooFast
	}
	return farm.Spike
}

// plausible tells whether a value can follow the last believed ones: within
// reach of their span, or no outlier among them, and in no case moved faster
// over the last half hour than a bin can.
func (p *probe) plausible(v float64, at int64) bool {
	switch {
	case p.N == 0 || p.Still.Frozen || p.Flood.In && !p.flooded(v) || p.withRoom(v, at):
		return true
	case p.rushed(v, at) || p.fallen(v, at) || p.intoRoom(v, at) || p.leaps(v, at):
		return false
	case !p.away(v, at) || p.N >= hampelFrom && !p.outlier(v):
		return true
	}
	return p.row.RisesFast && v > p.V && p.worked(at)
}

// away tells whether a value lies beyond the reach of the level. Reach grows with
// the time that nothing was heard, and a little with the time that nothing was
// believed.
func (p *probe) away(v float64, at int64) bool {
	lo, hi := p.span(at)
	reach := p.widen(p.rate.Reach) + p.rate.ReachHour*hours(p.Heard, at) + min(0.2*hours(p.T, at), p.rate.Reach)
	return v > hi+reach || v < lo-reach
}

// rushed tells whether a probe that speaks often has moved, in steps each small
// enough, further in half an hour than a bin can.
func (p *probe) rushed(v float64, at int64) bool {
	const halfHour = 30 * 60_000
	for k := range p.N {
		if at-p.WinAt[k] <= halfHour && p.tooFast(v-p.Win[k], p.WinAt[k], at) {
			lo, hi := p.span(at)
			return v < lo || v > hi
		}
	}
	return false
}

// tooFast tells whether no bin changes by this much between two moments.
func (p *probe) tooFast(by float64, from, to int64) bool {
	return !(p.row.RisesFast && by > 0) && math.Abs(by) > p.widen(p.rate.Fast)+p.rate.FastHour*hours(from, to)
}

// candidate takes a value that is not plausible into the level that waits to
// be believed, if it agrees with that, else into a new one.
func (p *probe) candidate(v float64, at int64) candidate {
	lo, hi := p.span(at)
	far := v - min(max(v, lo), hi)
	leaps := p.leaps(v, at)
	if leaps {
		far = max(far, v-p.V)
	}
	c := p.Jump
	agrees := c.N > 0 && (far > 0) == (c.Far > 0) && math.Abs(v-c.V) <= p.widen(p.rate.Fast)+p.rate.FastHour*hours(p.Heard, at)
	if !agrees && !p.stillInAir(v, at) {
		c = candidate{From: p.Heard, Begun: at, Since: at, Held: v, Rose: c.N > 0 && c.Far < 0 && v > c.V}
		if leaps {
			c.Leap, _, _, _ = p.beyond(v, at)
		}
	}
	c.N++
	c.V = v
	c.Mean += (v - c.Mean) / float64(min(c.N, meanOf))
	if math.Abs(far) > math.Abs(c.Far) {
		c.Far = far
	}
	c.Fast = c.Fast || p.tooFast(far, c.From, at) || p.fallen(v, at) || !p.moisture() && p.rushed(v, at)
	if rest := p.rest(c); c.Far < 0 && math.Abs(v-c.Held) > rest {
		c.Since, c.Held = at, v
	}
	p.breathe(&c, at)
	return c
}

// rest is how far a fall may still move and count as come to rest: a probe that
// dries on the bench sinks on, and one in the air swings with the day.
func (p *probe) rest(c candidate) float64 {
	switch {
	case p.moisture():
		return p.widen(p.rate.Fast)
	case p.temperature() && p.room == nil && c.Fast && !p.air:
		return p.widen(settled)
	}
	return math.Inf(1)
}

// lasted tells whether a candidate has lasted long enough to be believed.
func (p *probe) lasted(c candidate, at int64) bool {
	switch {
	case p.row.RisesFast && c.Far > 0:
		return c.N >= 2
	case p.climbsOn(c, at):
		return true
	case c.N < 3:
		return false
	case p.N < established:
		return true
	case p.unnatural(c):
		return p.explained(c, at)
	}
	// What was said for an hour is no ground to disbelieve six.
	return at-c.Since >= min(millis(p.mustLast(c)), max(p.known(), millis(lastsSpike)))
}

func (p *probe) mustLast(c candidate) time.Duration {
	switch {
	case !c.Fast && !c.Air:
		return lastsSpike
	case p.worked(c.Begun):
		return lastsWorked
	case p.moisture():
		return lastsDry
	case c.Air, p.temperature() && c.Far < 0 && p.room == nil && !p.air:
		return lastsAir
	case (c.Aired || math.Abs(c.Far) > farJump*p.rate.Fast) && !p.air:
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
func (p *probe) learnJump(v float64, at int64, doubt farm.Doubt) {
	if p.N == 0 { // doubted before a restart forgot the level
		return
	}
	p.Jump = p.candidate(v, at)
	p.Jump.Fast = p.Jump.Fast || doubt == farm.TooFast
}

// learnLevel takes in a value of the level. One out of reach is a step that
// has lasted: the level begins anew there. Where work or water explains that,
// so does the comparison with its twins.
func (p *probe) learnLevel(v float64, at int64, believed bool) {
	switch plausible := p.plausible(v, at); {
	case !plausible && p.climbsOn(p.candidate(v, at), at):
	case !plausible:
		if p.worked(at) || p.row.RisesFast && v > p.V {
			p.restartTwins()
		} else if p.N > 0 && math.Abs(v-p.Twin.Agreed) > math.Abs(p.V-p.Twin.Agreed) {
			p.Twin.Stepped, p.Twin.SteppedAt = true, at
		}
		known := p.N >= established
		if p.restart(); known {
			p.Left, p.LeftAt = p.V, at
		}
	case p.N > 0 && p.T == p.Heard && at-p.T <= 2*p.every():
		p.learnStep(v)
	}
	p.Jump = candidate{}
	p.push(v, at)
	p.learnBeside(v, at)
	p.Base.learn(v, at)
	p.learnFollow(v, at)
	if believed {
		p.Good, p.GoodAt = v, at
	}
}
