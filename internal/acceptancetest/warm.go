package acceptancetest

import (
	"iter"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/scenariotest"
)

const (
	ownNone = 2.0 // K of its own: a bin with less is not heating, whatever warms it
	ownDue  = 5.0 // K of its own at the crossing, since the feed: one with more is
)

// Warms scores heating where something else warms the bin as well. It came when
// the bin crossed the limit by heat of its own, without which it had stayed
// well under it; it is false when the bin's own heat is next to nothing over the
// half day that follows: blamed wrongly. Heat of its own that peaks far under the limit was
// foretold and did not come, which is counted apart, as short.
func Warms(cases []scenariotest.Case) Score {
	var s Score
	for _, c := range cases {
		l := Live(c)
		s.count(l)
		truth := l.Run.Clean(farm.Temperature)
		peak, _ := truth.Max(truth.From, truth.To())
		for _, at := range l.raised(farm.Heating, farm.Today) {
			own, _ := l.Run.Own.Max(at, at.Add(12*time.Hour))
			switch {
			case own < ownNone:
				s.False++
				s.FalseAt = append(s.FalseAt, FalseRaise{c, at, own, peak})
			case peak < scenariotest.HeatLimitC-nearMiss:
				s.Short++
			}
		}
		for fed, crosses := range l.ownCrossings(truth) {
			s.Due++
			near := crosses.Sub(fed) <= nearFeed
			if near {
				s.DueNear++
			}
			s.intervals(l, farm.Heating, crosses, 3*time.Hour, 6*time.Hour, 12*time.Hour)
			before := s.Told
			s.tell(after(l.raised(farm.Heating, farm.Today), fed), crosses)
			if s.Told == before {
				s.Missed = append(s.Missed, c)
			} else if near {
				s.ToldNear++
			}
		}
	}
	return s
}

// nearFeed is how soon after a feed a crossing is still near it.
const nearFeed = 5 * 24 * time.Hour

// A FalseRaise is one raised with nothing behind it.
type FalseRaise struct {
	Case  scenariotest.Case
	At    time.Time
	OwnK  float64
	PeakC float64
}

// ownCrossings are when the bin crossed the limit by its own heat, once a heap, each
// with when it was fed for that: for the first time, where more followed within two
// days.
func (l Life) ownCrossings(truth scenariotest.Signal) iter.Seq2[time.Time, time.Time] {
	without := truth
	without.V = make([]float64, len(truth.V))
	for i, v := range truth.V {
		without.V[i] = v - l.Run.Own.V[i]
	}
	return func(yield func(fed, crosses time.Time) bool) {
		for from := truth.From; ; {
			at, ok := truth.Rises(scenariotest.HeatLimitC, from)
			if !ok {
				return
			}
			from = at.Add(10 * time.Minute)
			fed := l.fedFor(at)
			if fed.IsZero() || l.Run.Own.At(at)-l.Run.Own.At(fed) < ownDue {
				continue
			}
			if most, _ := without.Max(fed, at.Add(6*time.Hour)); most < scenariotest.HeatLimitC-nearMiss {
				from = at.Add(36 * time.Hour)
				if !yield(fed, at) {
					return
				}
			}
		}
	}
}

// fedFor is when the heap of a moment was fed, first.
func (l Life) fedFor(at time.Time) (first time.Time) {
	var newest time.Time
	for _, j := range l.Run.Jots {
		if j.What == farm.Fed && j.At.Before(at) {
			if j.At.Sub(newest) > 48*time.Hour {
				first = j.At
			}
			newest = j.At
		}
	}
	return first
}

func after(times []time.Time, t time.Time) (out []time.Time) {
	for _, at := range times {
		if at.After(t) {
			out = append(out, at)
		}
	}
	return out
}
