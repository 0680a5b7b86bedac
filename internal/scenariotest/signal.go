package scenariotest

import (
	"math"
	"time"
)

// A Signal is a quantity over time, sampled evenly.
type Signal struct {
	From time.Time
	Step time.Duration
	V    []float64
}

// To is the time of the last sample.
func (s Signal) To() time.Time { return s.when(float64(len(s.V) - 1)) }

// At is the value at t, along the straight line between samples; before the
// first and after the last it is theirs.
func (s Signal) At(t time.Time) float64 {
	x := s.place(t)
	i := int(x)
	if i >= len(s.V)-1 {
		return s.V[len(s.V)-1]
	}
	return s.V[i] + (x-float64(i))*(s.V[i+1]-s.V[i])
}

// Rises is when the signal first gets above a limit after a time.
func (s Signal) Rises(limit float64, after time.Time) (time.Time, bool) {
	return s.crosses(limit, 1, after)
}

// Falls is when the signal first gets below a limit after a time.
func (s Signal) Falls(limit float64, after time.Time) (time.Time, bool) {
	return s.crosses(limit, -1, after)
}

// crosses looks for the first step from the near side of the limit to the far
// side, which for sign 1 is above. A signal already past it has to come back
// first.
func (s Signal) crosses(limit, sign float64, after time.Time) (time.Time, bool) {
	for i := int(math.Ceil(s.place(after))); i+1 < len(s.V); i++ {
		a, b := sign*(s.V[i]-limit), sign*(s.V[i+1]-limit)
		if a <= 0 && b > 0 {
			return s.when(float64(i) + a/(a-b)), true
		}
	}
	return time.Time{}, false
}

// Max is the greatest value from a time to another, and when.
func (s Signal) Max(from, to time.Time) (float64, time.Time) { return s.extreme(1, from, to) }

// Min is the least value from a time to another, and when.
func (s Signal) Min(from, to time.Time) (float64, time.Time) {
	v, at := s.extreme(-1, from, to)
	return -v, at
}

func (s Signal) extreme(sign float64, from, to time.Time) (float64, time.Time) {
	best, at := math.Inf(-1), from
	for i := int(math.Ceil(s.place(from))); i < len(s.V) && !s.when(float64(i)).After(to); i++ {
		if v := sign * s.V[i]; v > best {
			best, at = v, s.when(float64(i))
		}
	}
	return best, at
}

// place is t in steps from the first sample, not before it.
func (s Signal) place(t time.Time) float64 {
	return max(0, float64(t.Sub(s.From))/float64(s.Step))
}

func (s Signal) when(i float64) time.Time {
	return s.From.Add(time.Duration(i * float64(s.Step)))
}

// Mean is that of the samples from a time up to another.
func (s Signal) Mean(from, to time.Time) float64 {
	sum, n := 0.0, 0
	for i := max(0, int(math.Ceil(s.place(from)))); i < len(s.V) && s.when(float64(i)).Before(to); i++ {
		sum, n = sum+s.V[i], n+1
	}
	return sum / float64(max(n, 1))
}
