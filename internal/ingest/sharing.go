package ingest

// A sharing keeps what part of its reference's moves a probe shows from day to day: one
// that followed the room by two steps of its resolution on every day, and then by none
// while the room moves as ever, is stuck.
type sharing struct {
	Lo, Hi float64 // span of the reference in the present day
	Seen   bool    // it was heard in it
	Days   int     // days that were looked at
	Least  float64 // least part of the reference's span that the value had on one of them
	Usual  float64 // mean span of the reference on them
	Missed int     // whole days inside the present run on which the probe ought to have moved
}

// Common practice, no source.
const (
	sharedSteps  = 1.5 // a span of more steps crosses an edge between two, wherever it lies
	sharedMisses = 2   // days
	sharedMemory = 30  // days
)

// refer takes in where the reference is.
func (s *sharing) refer(v float64, ok bool) {
	switch {
	case !ok:
	case !s.Seen:
		s.Lo, s.Hi, s.Seen = v, v, true
	default:
		s.Lo, s.Hi = min(s.Lo, v), max(s.Hi, v)
	}
}

// endDay takes in by how much the value moved on a day that is over.
func (s *sharing) endDay(moved float64) {
	span := s.Hi - s.Lo
	if !s.Seen || span <= 0 {
		return
	}
	if s.Days == 0 || moved/span < s.Least {
		s.Least = moved / span
	}
	s.Days++
	s.Usual += (span - s.Usual) / float64(min(s.Days, sharedMemory))
}

// miss takes in a day that is over and on which the value did not move.
func (s *sharing) miss(step float64) {
	if s.Seen && s.Days >= weekDays && step > 0 && s.Least*min(s.Hi-s.Lo, s.Usual) >= sharedSteps*step {
		s.Missed++
	}
}
