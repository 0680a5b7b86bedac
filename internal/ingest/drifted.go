package ingest

import (
	"math"
	"slices"
	"time"
)

// A probe that goes off by a little each day is off by degrees before a season is
// over. What it says is held against where it began, together with what is around it:
// its room and its twins.
//
// A bin goes with its room, by a part of what that does. Feed, sun and mats warm it
// beyond that; nothing cools it for weeks below both its room and where it began. So a
// thermometer that does so has gone off, unless the bin was carried, which shows within
// a day. A moisture has only its twins to be held against.
type slowly struct {
	First, FirstRoom float64 // means of the first two weeks
	Of               int64   // time from which they were learnt, ms
	Week, WeekRoom   float64 // over about a week
	MonthRoom        float64 // over about a month, by which a large cool store may be behind
	Day, DayRoom     float64 // over about a day
	Together, Room   float64 // K²: how its days go with the room's, and how the room's go
	At               int64   // 0 for never
	Past             int64   // since when it is off, or doubted for that; 0 when it is not
	In               bool    // it has been for long: it is doubted
}

// Common practice, no source.
const (
	slowFirst   = 14 * 24 * time.Hour
	slowWeek    = 7 * 24 * time.Hour
	slowDay     = 24 * time.Hour
	slowMonth   = 30 * 24 * time.Hour
	slowKnown   = 21 * 24 * time.Hour // before that nothing is said
	slowLasts   = 3 * 24 * time.Hour
	goesLeast   = 0.2                 // of its room's change that a bin goes along with, at least,
	goesMost    = 1.2                 // and at most;
	goesSeen    = 0.7                 // of what it was seen to, which is never more than it does over weeks,
	goesShown   = 0.3                 // K² of the room's, from which that shows
	goesMemory  = 60 * 24 * time.Hour // over which it is learnt
	slowOff     = 3.5                 // K
	slowTwin    = 3.0                 // K under its twin and under where it began beside it,
	slowRoom    = 1.0                 // and so many under its room
	slowCarried = 3.0                 // K within a day: the bin was carried, or the probe moved
	slowWet     = 15.0                // points over a twin,
	slowDry     = 20.0                // or under it: an end dries by itself
	slowSide    = 2.0                 // times as far as the twin has gone: it is this one that has
	slowBack    = 0.6                 // of all these, and it is well again
)

// learnSlowly takes in a value of the level.
func (p *probe) learnSlowly(v float64, at int64) {
	room, known := p.ambient.fresh(at) // the only air that is measured may be another room's
	if p.bin == "" || !(p.temperature() && known) && !(p.moisture() && len(p.twins) > 0) {
		return
	}
	s := &p.Slowly
	since := max(0, at-s.At)
	if s.At == 0 {
		s.First, s.Week, s.Day, s.FirstRoom, s.WeekRoom, s.DayRoom, s.MonthRoom = v, v, v, room, room, room, room
		since = 0
	}
	s.At = at
	dt := float64(min(since, 2*p.every()))
	for _, m := range []struct {
		mean *float64
		v    float64
		over time.Duration
	}{{&s.Week, v, slowWeek}, {&s.WeekRoom, room, slowWeek}, {&s.Day, v, slowDay}, {&s.DayRoom, room, slowDay}, {&s.MonthRoom, room, slowMonth}} {
		*m.mean += (1 - math.Exp(-dt/float64(millis(m.over)))) * (m.v - *m.mean)
	}
	x, y, w := s.DayRoom-s.WeekRoom, s.Day-s.Week, 1-math.Exp(-dt/float64(millis(goesMemory)))
	s.Room, s.Together = s.Room+w*(x*x-s.Room), s.Together+w*(x*y-s.Together)
	if s.Of < millis(slowFirst) {
		w := dt / max(1, float64(s.Of)+dt)
		s.First, s.FirstRoom = s.First+w*(v-s.First), s.FirstRoom+w*(room-s.FirstRoom)
	}
	s.Of = min(s.Of+int64(dt), millis(slowKnown))
	if s.In && p.Handled > s.Past+workedBefore || p.temperature() && s.Of >= millis(slowFirst) && p.carried() {
		*s = slowly{} // it is judged by where it is now
		return
	}
	switch {
	case s.Of < millis(slowKnown):
	case !p.off(1) && (!s.In || !p.off(slowBack)):
		s.Past, s.In = 0, false
	case s.Past == 0:
		s.Past = at
	case !s.In && at-s.Past >= millis(slowLasts):
		s.In, s.Past = true, at
	}
}

// off tells whether a probe is far from where it ought to be, or by a part of that.
func (p *probe) off(part float64) bool {
	s := &p.Slowly
	if p.moisture() {
		return p.offTwins(part)
	}
	under := min(s.under(s.Week, s.WeekRoom), s.under(s.Week, s.MonthRoom))
	coldest := min(s.WeekRoom, s.MonthRoom)
	over := min(s.over(s.WeekRoom), s.over(s.MonthRoom))
	switch {
	case p.airGone():
		return false
	case min(under, coldest-s.Week) > part*slowOff, !p.living && over > part*slowOff:
		return true
	}
	if s.Week > coldest-part*slowRoom || under < part*slowTwin/2 {
		return false // it is the twin that went
	}
	any := false
	for _, t := range p.twins {
		o := &t.other.Slowly
		if o.Of < millis(slowKnown) || o.In {
			continue
		}
		if min(o.Week-s.Week, (s.First-o.First)-(s.Week-o.Week)) < part*slowTwin {
			return false
		}
		any = true
	}
	return any
}

// airGone tells whether another bin in the same air is about as far off to the same
// side: then it is the thermometer in the air that has gone.
func (p *probe) airGone() bool {
	mine := p.Slowly.Week - p.Slowly.First - p.Slowly.WeekRoom + p.Slowly.FirstRoom
	return slices.ContainsFunc(p.alike, func(o *probe) bool {
		s := &o.Slowly
		other := s.Week - s.First - s.WeekRoom + s.FirstRoom
		return p.couldChange(o) && o.ambient == p.ambient && s.Of >= millis(slowKnown) && other*mine > 0 && math.Abs(other) > math.Abs(mine)/2
	})
}

// under is by how much a level is under the least that a bin would have come to with
// its room from where it began.
func (s *slowly) under(v, room float64) float64 {
	moved := room - s.FirstRoom
	return s.First + min(s.goes()*moved, goesMost*moved) - v
}

// goes is the least part of its room's change that a bin goes along with. Over a day
// it goes along with no more than over weeks.
func (s *slowly) goes() float64 {
	if s.Room < goesShown {
		return goesLeast
	}
	return min(max(goesLeast, goesSeen*s.Together/s.Room), 1)
}

// over is by how much the level of the week is over the most, and over the room.
func (s *slowly) over(room float64) float64 {
	moved := room - s.FirstRoom
	return min(s.Week-s.First-max(s.goes()*moved, goesMost*moved), s.Week-room)
}

// carried tells whether a bin went within a day where its room did not.
func (p *probe) carried() bool {
	s := &p.Slowly
	return math.Abs(s.under(s.Day, s.DayRoom)-s.under(s.Week, s.WeekRoom)) > slowCarried
}

// offTwins tells whether a moisture has gone from all its twins, and they have stayed.
func (p *probe) offTwins(part float64) bool {
	any := false
	mine := p.Slowly.Week - p.Slowly.First
	for _, t := range p.twins {
		o := &t.other.Slowly
		if o.Of < millis(slowKnown) || o.In {
			continue
		}
		other, apart, least := o.Week-o.First, p.Slowly.Week-o.Week, part*slowWet
		if apart < 0 {
			least = part * slowDry
		}
		if min(math.Abs(apart), math.Copysign(1, apart)*(mine-other)) < least || math.Abs(mine) < slowSide*math.Abs(other) {
			return false
		}
		any = true
	}
	return any
}
