package ingest

import (
	"math"
	"math/bits"
	"time"

	"binwatchd/internal/farm"
)

// A standstill keeps how a probe stands still and moves, to know when it stands
// still unlike itself.
type standstill struct {
	Raw    float64 // the number of the present run of equal numbers
	From   int64   // time of its first reading; 0 when there is none
	To     int64   // time of its newest
	Frozen bool    // it has been doubted

	Longest int64   // length of the longest honest run that has ended, ms
	Changes int     // how many runs have ended, up to enoughChanges
	Calm    float64 // K: most that the reference moved during an honest run

	RefLo, RefHi float64 // span of the reference in the present run
	RefSeen      bool

	Day     int64   // when the present day of movement began
	Lo, Hi  float64 // span of the value in it
	Moved   uint8   // one bit a past day, newest lowest: it moved
	Days    int     // how many of them there are, up to weekDays
	Much    bool    // there was a day in which it moved much,
	Little  bool    // and one of its first week in which it did not
	Unmoved int     // whole days inside the present run, not yet counted

	Flicker flicker
	Sharing sharing
}

// When a still probe is frozen. Common practice, no source; what each is for
// is said with probe.frozen.
const (
	frozenAfter     = 24 * time.Hour // with a reference that moved
	frozenTimes     = 3              // longer than the longest honest run
	frozenAlone     = 48 * time.Hour // without one
	frozenAloneTime = 4
	frozenSoon      = 30 * time.Hour // the same three in its first week
	frozenSoonTimes = 4
	frozenSoonAlone = 66 * time.Hour
	calmTimes       = 1.5
	calmMore        = 1.0 // K
	enoughChanges   = 30
	weekDays        = 7
	movingDays      = 6   // of the week before the run
	thawing         = 1.0 // °C from freezing: there ground stands still for weeks under snow (zero curtain; from memory)
	movingSteps     = 3   // a day in which a probe moved is one of so many of its steps,
	soonSteps       = 6   // or in the first week so many
)

const day = int64(24 * time.Hour / time.Millisecond)

// frozen tells whether the present run of equal numbers is unlike the probe.
//
// A coarse probe in a cellar is honestly constant for days, so a run is held
// against the probe's own: it must last three times as long as any before, and
// a day; and the probe must have moved on nearly every day of the week before
// it, and by more than the flicker between two neighbouring steps. And since a
// calm spell makes honest runs longer, a temperature is frozen only if its
// reference (the room's air, else another probe) has moved more during the run
// than during any honest run. Without a reference it takes longer, and in the
// first week all of it takes longer and needs a probe that moves more. One whose
// noise shows at any place within a step is found by that alone (flicker.go), and one
// that went with its reference every day by the part of that which it shows (sharing.go).
func (p *probe) frozen(raw float64, at int64) bool {
	s := &p.Still
	if !p.sameRun(raw, at) {
		return false
	}
	if s.Frozen {
		return true
	}
	if s.flickers(at, p.Begun, p.every()) && !p.atAnEnd(p.V) {
		return true
	}
	if p.temperature() && p.bin != "" && math.Abs(p.V) <= thawing {
		return false
	}
	if s.Sharing.Missed >= sharedMisses && s.lasts(at, frozenAfter, frozenTimes) {
		return true
	}
	if !s.restless() {
		return false
	}
	after, times, alone, aloneTimes := frozenAfter, int64(frozenTimes), frozenAlone, int64(frozenAloneTime)
	if s.Days < weekDays {
		after, times, alone, aloneTimes = frozenSoon, frozenSoonTimes, frozenSoonAlone, frozenSoonTimes
	}
	if v, ok := p.reference.fresh(at); ok {
		moved := max(s.RefHi, v) - min(s.RefLo, v)
		return s.RefSeen && s.lasts(at, after, times) && moved > calmTimes*s.Calm+calmMore
	}
	return s.lasts(at, alone, aloneTimes)
}

// restless tells whether the probe has moved on nearly every day of the week before
// the run. In its first week it must have moved much on each.
func (s *standstill) restless() bool {
	if s.Days < weekDays {
		return s.Changes >= enoughChanges && s.Much && !s.Little
	}
	return s.Changes >= enoughChanges && bits.OnesCount8(s.Moved) >= movingDays
}

// flickers tells whether a probe that always flickered has ceased to: that needs a
// day of history, and no reference.
func (s *standstill) flickers(at, begun, every int64) bool {
	return s.From-begun >= millis(turnsFrom) && s.lasts(at, frozenAfter, frozenTimes) && s.Flicker.never(at-s.From, every)
}

// atAnEnd tells whether a moisture is at an end of its range, where it may honestly
// be cut off, noise and all.
func (p *probe) atAnEnd(v float64) bool { return p.moisture() && (v <= 0.5 || v >= 99.5) }

// lasts tells whether the present run is long enough.
func (s *standstill) lasts(at int64, least time.Duration, times int64) bool {
	long := at - s.From
	return long >= millis(least) && long > times*s.Longest
}

// sameRun tells whether a number goes on with the present run. What was not
// heard for a while may have moved meanwhile.
func (p *probe) sameRun(raw float64, at int64) bool {
	s, gap := &p.Still, max(3*p.every(), millis(time.Hour))
	return s.From != 0 && raw == s.Raw && at-s.To <= gap
}

// learnStill takes in whether the probe moved.
func (p *probe) learnStill(r farm.Reading, at int64) {
	s := &p.Still
	moved := !p.sameRun(r.Raw, at)
	if moved {
		if s.Frozen {
			p.restart()
			s.Flicker.Waits = 0
		}
		s.endRun(r.Raw != s.Raw)
		s.Raw, s.From = r.Raw, at
	}
	s.To = at
	s.Frozen = s.Frozen || r.Doubt == farm.Frozen
	ref, heard := p.reference.fresh(at)
	s.refer(ref, heard)
	if r.Doubt == farm.NoDoubt {
		s.Flicker.learn(r.Value, at, p.Step, p.every(), moved)
	}
	s.learnDay(r.Value, at, p.Step)
	s.Sharing.refer(ref, heard)
}

// endRun closes the present run; changed tells that the number changed, not
// that the probe was silent. A frozen run teaches little: should the probe
// really be like that, it will be doubted later the next time.
func (s *standstill) endRun(changed bool) {
	long := s.To - s.From
	if s.Frozen {
		long /= frozenTimes
	} else if s.RefSeen {
		s.Calm = max(s.Calm, s.RefHi-s.RefLo)
	}
	if s.From != 0 && changed {
		s.Longest = max(s.Longest, long)
		s.Changes = min(s.Changes+1, enoughChanges)
	}
	if !s.Frozen {
		s.Little = s.Little || s.Unmoved > 0 && s.Days < weekDays
		for range min(s.Unmoved, weekDays) {
			s.endDay(false)
		}
		if s.Unmoved > 0 {
			s.Sharing.Days, s.Sharing.Least = s.Sharing.Days+1, 0
		}
	}
	s.Unmoved, s.Sharing.Missed, s.RefSeen, s.Frozen = 0, 0, false, false
}

// refer takes in where the reference is.
func (s *standstill) refer(v float64, ok bool) {
	switch {
	case !ok:
	case !s.RefSeen:
		s.RefLo, s.RefHi, s.RefSeen = v, v, true
	default:
		s.RefLo, s.RefHi = min(s.RefLo, v), max(s.RefHi, v)
	}
}

// learnDay takes in how far the probe moves from day to day. Days that lie
// inside the present run wait until it is known whether the run was honest.
func (s *standstill) learnDay(v float64, at int64, step float64) {
	if s.Day == 0 || at-s.Day > 2*day {
		s.Day, s.Lo, s.Hi, s.Sharing.Seen = at, v, v, false
		return
	}
	if at-s.Day < day {
		s.Lo, s.Hi = min(s.Lo, v), max(s.Hi, v)
		return
	}
	if s.From <= s.Day {
		s.Unmoved++
		s.Sharing.miss(step)
	} else {
		s.Sharing.endDay(s.Hi - s.Lo)
		steps := 0.0
		if step > 0 {
			steps = (s.Hi - s.Lo) / step
		}
		s.Much = s.Much || steps > soonSteps-0.5
		s.Little = s.Little || steps < soonSteps-0.5 && s.From > s.Day+day/2 // else the run may be a fault's
		s.endDay(steps > movingSteps-0.5)
	}
	s.Day, s.Lo, s.Hi, s.Sharing.Seen = at, v, v, false
}

func (s *standstill) endDay(moved bool) {
	s.Moved = s.Moved << 1 & (1<<weekDays - 1)
	if moved {
		s.Moved |= 1
	}
	s.Days = min(s.Days+1, weekDays)
}
