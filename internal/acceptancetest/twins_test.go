package acceptancetest_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
	"binwatchd/internal/scenariotest"
)

// A lie is what a bad probe adds to the truth, h hours after it went bad; stuck
// says that from then on its number does not move.
type lie struct {
	name string
	adds func(h float64) float64
	top  float64 // °C at which it sticks; 0 for never
	bins float64 // °C: the warmest bins in which it is tried
}

var paces = []time.Duration{10 * time.Minute, time.Hour, 2 * time.Hour}

func drift(perDay float64) func(float64) float64 {
	return func(h float64) float64 { return perDay * h / 24 }
}

// One bad probe of two makes no `now`: the other one shows nothing of what it
// says, and feed heats faster than it drifts.
func TestOneBadProbeOfTwoMakesNoNow(t *testing.T) {
	// What drifts by a few tenths a day is partly taken for usual on its way, so it
	// is found further from its twin.
	lies := []lie{
		{"drifts up 0.4 K a day", drift(0.4), 0, 21},
		{"drifts up 0.8 K a day", drift(0.8), 0, 28},
		{"drifts up 1.2 K a day", drift(1.2), 0, 28},
		{"drifts up 1 K a day and sticks", drift(1), 34, 28},
		{"drifts up 1.2 K a day and sticks", drift(1.2), 34, 28},
		{"drifts down 0.4 K a day", drift(-0.4), 0, 28},
		{"drifts down 1.2 K a day", drift(-1.2), 0, 28},
		{"drifts down 3 K a day", drift(-3), 0, 28},
	}
	n, most := 12, 0
	if efforttest.Soak() {
		n, most = 36, 2 // small boxes in a glasshouse, whose air explains nearly everything
	}
	cases := scenariotest.Suite(scenariotest.Quiet, n, 7100, start)
	runs := make([]*scenariotest.Run, n)
	for i := range cases {
		cases[i].Days = 45
		runs[i] = cases[i].Run()
	}
	for _, l := range lies {
		t.Run(l.name, func(t *testing.T) {
			t.Parallel()
			tried, told := 0, 0
			for i, c := range cases {
				r, every := runs[i], paces[i%len(paces)]
				if warmest, _ := r.Temperature.Max(start, r.Temperature.To()); warmest > l.bins || c.Bin == scenariotest.Tub {
					continue
				}
				tried++
				b := newBed(farm.Temperature, "first", "second")
				twins(b, r, every, l.from(c.Seed))
				for _, ch := range b.changes {
					if ch.Urgency == farm.Now {
						told++
						t.Logf("%s: %s: %s %s: %s", c, ch.At.Sub(start), ch.Condition, ch.Change, ch.Text)
						break
					}
				}
			}
			if tried < n/4 || told > most {
				t.Errorf("tried in %d bins, told as `now` in %d, want at most %d", tried, told, most)
			}
		})
	}
}

// from gives what the bad probe reads of the true temperature, h hours on: it
// lies from the tenth day.
func (l lie) from(seed uint64) func(truth, h float64) float64 {
	above, stuck := 2*rand.New(rand.NewPCG(seed, 5)).Float64(), math.NaN()
	return func(truth, h float64) float64 {
		v := truth + above
		if into := h - 10*24; into > 0 {
			v += l.adds(into)
		}
		if l.top != 0 && v >= l.top && math.IsNaN(stuck) {
			stuck = v
		}
		if !math.IsNaN(stuck) {
			return stuck
		}
		return v
	}
}

// twins has two probes of a run speak: a good one, and another of which is given
// what it reads.
func twins(b *bed, r *scenariotest.Run, every time.Duration, other func(truth, h float64) float64) {
	rng := rand.New(rand.NewPCG(r.Case.Seed, 4))
	step := []float64{0.0625, 0.1, 0.5}[rng.IntN(3)]
	read := func(v float64) float64 { return math.Round((v+0.04*rng.NormFloat64())/step) * step }
	jots, last := r.Jots, math.NaN()
	for at := start; at.Before(r.Temperature.To()); at = at.Add(every) {
		for ; len(jots) > 0 && !jots[0].At.After(at); jots = jots[1:] {
			b.jot(jots[0].At, jots[0].What)
		}
		truth := r.Temperature.At(at)
		b.say("first", at, read(truth))
		v := other(truth, at.Sub(start).Hours())
		if v != last {
			last = v
			v = read(v)
		} else {
			v = math.Round(v/step) * step // stuck
		}
		b.say("second", at.Add(time.Second), v)
	}
}

// Feed heats one end of a simulated bed, in the sun, with a heater, a lamp or
// without: the probe there is believed, and what kills worms is told.
func TestFeedThatHeatsOneEndIsBelieved(t *testing.T) {
	t.Parallel()
	n, killed := efforttest.Cases(2, 3), 0
	for i, w := range scenariotest.Warmths {
		for _, c := range scenariotest.WarmSuite(w, scenariotest.Heating, n, 9300, start) {
			c.Bin, c.FeedKg = scenariotest.Bed, 3+2*float64(i%4)
			r := c.Run()
			b := newBed(farm.Temperature, "first", "second")
			r.Jots = nil // nobody writes down what was fed
			hottest, _ := r.Temperature.Max(start, r.Temperature.To())
			heated := r.Temperature
			r.Temperature.V = make([]float64, len(heated.V)) // of the end that was not fed
			for k, v := range heated.V {
				r.Temperature.V[k] = v - 0.85*r.Own.V[k]
			}
			twins(b, r, paces[i%len(paces)], func(_, h float64) float64 { return heated.At(start.Add(time.Duration(h * float64(time.Hour)))) })
			for _, ch := range b.of(farm.Suspect) {
				t.Errorf("%s %s: %s %s", c, w, ch.At.Sub(start), ch.Text)
			}
			told := false
			for _, ch := range b.changes {
				told = told || ch.Urgency == farm.Now
			}
			if hottest > 34 {
				killed++
				if !told {
					t.Errorf("%s %s: %.1f °C is not told", c, w, hottest)
				}
			}
		}
	}
	if killed < 8*n/3 {
		t.Errorf("only %d beds got deadly; the test shows little", killed)
	}
}
