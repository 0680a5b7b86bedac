package rules

import (
	"time"

	"binwatchd/internal/farm"
)

// A moisture probe that was moved, or in material that was loosened, has air
// around it and reads too little until that has settled: within a day or so. While
// its level climbs back to what it was before, mild dryness is not raised, nor
// foreseen; harm is. Common practice, no source; so are the figures.
const (
	settlesIn   = 36 * time.Hour // at most
	settleFirst = 3 * time.Hour  // before the level is worth looking at
	settleStep  = 6 * time.Hour  // over which it must climb
	settleClimb = 0.5            // points, at the least
)

// A settling is what a level does after work at its probe. Fields are exported for
// snapshots.
type settling struct {
	Since     time.Time // of the work; zero: it has settled
	Before    float64   // the level before, where that is known
	HasBefore bool
	Mark      time.Time // when it was looked at last
	Value     float64   // and what it was
}

// disturb begins it anew; what the level was before the first work still counts.
func (m *measured) disturb(at time.Time) {
	was := m.settling
	if was.Since.IsZero() {
		was.Before, was.HasBefore = m.Value, !m.At.IsZero()
	}
	m.settling = settling{Since: at, Before: was.Before, HasBefore: was.HasBefore}
}

// follow sees whether the level still climbs; climbed tells that it did, and has just
// come to rest.
func (s *settling) follow(at time.Time, level float64) (climbed bool) {
	if s.Since.IsZero() || at.Sub(s.Since) < settleFirst {
		return false
	}
	rests := at.Sub(s.Since) > settlesIn || s.HasBefore && level >= s.Before
	switch {
	case s.Mark.IsZero() && !rests:
		s.Mark, s.Value = at, level
	case rests || at.Sub(s.Mark) >= settleStep && level < s.Value+settleClimb:
		climbed = !s.Mark.IsZero()
		*s = settling{}
	case at.Sub(s.Mark) >= settleStep:
		s.Mark, s.Value = at, level
	}
	return climbed
}

// holds tells whether a mild limit of a side is not judged now.
func (s *settling) holds(side farm.Side) bool { return side == farm.Below && !s.Since.IsZero() }

func (s *settling) shift(move func(...*time.Time)) { move(&s.Since, &s.Mark) }
