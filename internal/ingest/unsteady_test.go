package ingest_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
)

// roughSeeds are how many bins of each kind are tried.
func roughSeeds() int {
	return efforttest.Cases(12, 100)
}

// A roughBin is a bed in its room: it is fed and heats, the sun comes and goes behind
// clouds on a thin lid, and the lid is opened. Its probe has some noise, which is
// steady or grows.
type roughBin struct {
	every  time.Duration
	step   float64
	noise  float64                    // K
	grows  func(days float64) float64 // K more, days after the twentieth; nil for never
	sunny  float64                    // K that the sun adds at its highest
	opened int                        // times a day that the lid is
}

// run tells how long after its noise began to grow the probe was doubted for good, and
// how many readings were doubted as unsteady before.
func (b roughBin) run(w weather, seed uint64) (found time.Duration, before, after, missed int) {
	rng := rand.New(rand.NewPCG(seed, 31))
	d := newTester(nursery(b.every))
	begin := w.first.AddDate(0, 0, rng.IntN(1200))
	bed, shone := newBedEnd(rng), damped{tau: 25 * time.Minute}
	lid, clouds := time.Time{}, 0.0
	fed := begin.AddDate(0, 0, 3+rng.IntN(4))
	for at := begin; at.Before(begin.AddDate(0, 0, 40)); at = at.Add(b.every) {
		days := at.Sub(begin).Hours()/24 - 20
		if !at.Before(fed) {
			bed.feed(rng, at)
			fed = at.Add(time.Duration(5+rng.IntN(14)) * 24 * time.Hour)
		}
		hour := float64(at.Hour()) + float64(at.Minute())/60
		if rng.Float64() < b.every.Hours() {
			clouds = rng.Float64()
		}
		sun := 0.0
		if hour > 9 && hour < 17 {
			sun = b.sunny * clouds
		}
		v := bed.at(at, w.at(at), b.every) + shone.follow(sun, b.every)
		if rng.Float64() < float64(b.opened)*b.every.Hours()/24 {
			lid = at
		}
		if at.Sub(lid) < 15*time.Minute {
			v -= 2 * rng.Float64()
		}
		noise := b.noise
		if b.grows != nil && days > 0 {
			noise += b.grows(days)
		}
		doubt := d.say("bed-top", at, coarse(v+noise*rng.NormFloat64(), b.step))
		switch unsteady := doubt == farm.Unsteady; {
		case unsteady && (b.grows == nil || days < 0):
			before++
		case unsteady && found == 0:
			found = time.Duration(days * 24 * float64(time.Hour))
		case found != 0 && doubt == farm.NoDoubt:
			missed++
		case unsteady:
			after++
		}
	}
	return found, before, after, missed
}

// Noise that grows to 2.5 K is doubted; a bed that is fed, shone upon and opened is not.
func TestNoiseThatGrowsIsDoubted(t *testing.T) {
	efforttest.Long(t)
	w := readWeather(t)
	for _, every := range []time.Duration{tenMinutes, 30 * time.Minute, time.Hour, 2 * time.Hour} {
		for _, step := range []float64{0.0625, 0.5} {
			for _, takes := range []float64{0, 3, 10} {
				t.Run(fmt.Sprintf("every %v, step %v, grown in %v days", every, step, takes), func(t *testing.T) {
					t.Parallel()
					doubted, n := 0, roughSeeds()
					for seed := range n {
						b := roughBin{every: every, step: step, noise: 0.04, sunny: 2, opened: 1, grows: func(days float64) float64 {
							return 2.5 * min(1, (days+0.001)/(takes+0.001))
						}}
						found, before, after, missed := b.run(w, uint64(seed))
						if before > 0 {
							t.Errorf("seed %d: %d readings doubted before", seed, before)
						}
						if found > 0 && missed*10 < after+missed {
							doubted++
						}
					}
					t.Logf("doubted %d of %d", doubted, n)
					if doubted*10 < 9*n {
						t.Errorf("doubted %d of %d", doubted, n)
					}
				})
			}
			for _, noise := range []float64{0.02, 0.3} {
				t.Run(fmt.Sprintf("every %v, step %v, honest noise %v", every, step, noise), func(t *testing.T) {
					t.Parallel()
					for seed := range roughSeeds() {
						b := roughBin{every: every, step: step, noise: noise, sunny: 6, opened: 3}
						if _, before, _, _ := b.run(w, uint64(500+seed)); before > 0 {
							t.Errorf("seed %d: %d readings doubted", seed, before)
						}
					}
				})
			}
		}
	}
}
