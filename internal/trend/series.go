package trend

import (
	"math"
	"slices"
	"time"
)

// empty marks a slot of a Series in which nothing was measured.
const empty = math.MinInt16

// A Series is the means of a quantity over even slots of time, newest Keep
// slots only: °C or % in hundredths, so a fortnight of hours is under a
// kilobyte. The zero Series keeps nothing; make one with NewSeries.
type Series struct {
	Step  time.Duration
	Keep  int
	First int64   // number of the slot of Centi[0], counted from 1970
	Centi []int16 // means of the slots that are over; empty where nothing came

	Slot int64 // the slot still open
	Sum  float64
	N    int32 // values in it so far
}

// NewSeries makes an empty series of keep slots of a step each.
func NewSeries(step time.Duration, keep int) Series { return Series{Step: step, Keep: keep} }

// Add takes in a value. A late one fills a slot that is over only if nothing
// else did. Values beyond ±327 and NaN are not taken.
func (s *Series) Add(t time.Time, v float64) {
	if !(math.Abs(v) < 327) || s.Keep == 0 {
		return
	}
	slot := s.slotOf(t)
	switch {
	case s.N == 0 && len(s.Centi) == 0:
		s.First, s.Slot = slot, slot
	case slot > s.Slot:
		s.close(slot)
	case slot < s.Slot:
		if i := slot - s.First; i >= 0 && s.Centi[i] == empty {
			s.Centi[i] = centi(v)
		}
		return
	}
	s.Sum += v
	s.N++
}

// close ends the open slot and opens another.
func (s *Series) close(next int64) {
	mean := int16(empty)
	if s.N > 0 {
		mean = centi(s.Sum / float64(s.N))
	}
	s.Centi = append(s.Centi, mean)
	for gap := min(next-s.Slot-1, int64(s.Keep)); gap > 0; gap-- {
		s.Centi = append(s.Centi, empty)
	}
	if over := len(s.Centi) - s.Keep; over > 0 {
		s.Centi = slices.Delete(s.Centi, 0, over)
	}
	s.First = next - int64(len(s.Centi))
	s.Slot, s.Sum, s.N = next, 0, 0
}

func centi(v float64) int16 { return int16(math.Round(v * 100)) }

func (s *Series) slotOf(t time.Time) int64 {
	return int64(math.Floor(float64(t.UnixMilli()) / float64(s.Step.Milliseconds())))
}

// at gives the mean of a slot, the open one included, or NaN.
func (s *Series) at(slot int64) float64 {
	switch i := slot - s.First; {
	case slot == s.Slot && s.N > 0:
		return s.Sum / float64(s.N)
	case i < 0 || i >= int64(len(s.Centi)) || s.Centi[i] == empty:
		return math.NaN()
	default:
		return float64(s.Centi[i]) / 100
	}
}

// At gives the mean of the slot in which t lies; ok is false when nothing was
// measured in it.
func (s *Series) At(t time.Time) (v float64, ok bool) {
	v = s.at(s.slotOf(t))
	return v, !math.IsNaN(v)
}

// last gives the n slots ending with the slot of now, oldest first; NaN where
// nothing was measured.
func (s *Series) last(now time.Time, n int) []float64 {
	out := make([]float64, n)
	end := s.slotOf(now)
	for i := range out {
		out[i] = s.at(end - int64(n-1-i))
	}
	return out
}

// Clear forgets everything.
func (s *Series) Clear() { s.Centi, s.Sum, s.N = s.Centi[:0], 0, 0 }
