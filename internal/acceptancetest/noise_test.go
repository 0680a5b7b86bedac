package acceptancetest_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
)

// The noise of a thermometer grows to 2.5 K, at once or within ten days. That is no
// heap: the keeper is told to look at the probe, and of no heating.
func TestNoiseThatGrowsIsNoHeating(t *testing.T) {
	seeds := efforttest.Cases(5, 40)
	for _, takes := range []float64{0, 2, 5, 10} {
		t.Run(fmt.Sprintf("within %v days", takes), func(t *testing.T) {
			t.Parallel()
			heated, suspected := 0, 0
			for seed := range seeds {
				rng := rand.New(rand.NewPCG(uint64(seed), uint64(takes)))
				b, level, swing, weeks := newBed(farm.Temperature, "t"), 15+9*rng.Float64(), 3*rng.Float64(), 7*rng.Float64()
				begin := start.AddDate(0, 0, 8+rng.IntN(8))
				for at := start; at.Before(begin.AddDate(0, 0, 16)); at = at.Add(10 * time.Minute) {
					h, noise := at.Sub(start).Hours(), 0.04
					if days := at.Sub(begin).Hours() / 24; days > 0 {
						noise += 2.5 * min(1, (days+0.001)/(takes+0.001))
					}
					v := level + swing*math.Sin(h*math.Pi/12) + 1.5*math.Sin(h/60+weeks) + noise*rng.NormFloat64()
					b.say("t", at, math.Round(v/0.0625)*0.0625)
				}
				for _, c := range b.of(farm.Heating) {
					if c.At.After(begin) && c.Change == farm.Raised {
						heated++
						t.Logf("seed %d: heating raised %s after it began: %s", seed, c.At.Sub(begin), c.Text)
						break
					}
				}
				for _, c := range b.of(farm.Suspect) {
					if c.At.After(begin) {
						suspected++
						break
					}
				}
			}
			t.Logf("suspect in %d, heating in %d of %d", suspected, heated, seeds)
			if heated > 0 || suspected*10 < 9*seeds {
				t.Errorf("suspect in %d, heating in %d of %d", suspected, heated, seeds)
			}
		})
	}
}
