package ingest_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// A probe that moved with the weather and then repeats one number is frozen.
func TestFrozenProbeIsCaught(t *testing.T) {
	w := readWeather(t)
	for _, step := range []float64{0.0625, 0.5} {
		for _, month := range []int{1, 4, 7, 11} {
			t.Run(fmt.Sprintf("step %v month %d", step, month), func(t *testing.T) {
				d := newTester(nursery(tenMinutes))
				bed := damped{tau: 5 * time.Hour}
				at := w.first.AddDate(0, month-1, 0)
				stuckFrom := at.AddDate(0, 0, 30)
				stuck, since := 0.0, time.Time{}
				for ; at.Before(stuckFrom.AddDate(0, 0, 6)); at = at.Add(tenMinutes) {
					d.say("air", at, coarse(w.at(at), 0.0625))
					v := coarse(bed.follow(w.at(at), tenMinutes), step)
					if at.Before(stuckFrom) {
						stuck = v
					} else {
						v = stuck
					}
					if d.say("bed-top", at, v) == farm.Frozen && since.IsZero() {
						since = at
					}
				}
				if since.IsZero() || since.Before(stuckFrom) || since.Sub(stuckFrom) > 5*24*time.Hour {
					t.Fatalf("stuck since %s, found frozen at %s", stuckFrom, since)
				}
				d.doubted = nil // thawed: it is believed at once, wherever it is now
				for k := range 6 {
					d.say("bed-top", at.Add(time.Duration(k)*tenMinutes), stuck+11+float64(k)*step)
				}
				d.none(t)
			})
		}
	}
}

func TestFrozenMoistureProbeIsCaught(t *testing.T) {
	d := newTester(lone(farm.Moisture, tenMinutes))
	rng := rand.New(rand.NewPCG(2, 2))
	at := spring
	for at.Sub(spring) < 20*24*time.Hour {
		d.say("p", at, coarse(72+1.5*rng.NormFloat64(), 0.1))
		at = at.Add(tenMinutes)
	}
	d.none(t)
	stuck := at
	for d.say("p", at, 71.3) == farm.NoDoubt {
		if at = at.Add(tenMinutes); at.Sub(stuck) > 60*time.Hour {
			t.Fatalf("stuck for %s and still believed", at.Sub(stuck))
		}
	}
	if at.Sub(stuck) < 24*time.Hour {
		t.Errorf("doubted after only %s", at.Sub(stuck))
	}
}

// A coarse probe in a cellar is honestly constant for days, flickers at the
// edge of a step for a day, and is constant again.
func TestCoarseProbeInACellarIsNotFrozen(t *testing.T) {
	for _, step := range []float64{0.5, 1} {
		for _, noise := range []float64{0, 0.05, 0.2} {
			t.Run(fmt.Sprintf("step %v noise %v", step, noise), func(t *testing.T) {
				d := newTester(nursery(tenMinutes))
				rng := rand.New(rand.NewPCG(4, 4))
				for at := spring; at.Before(spring.AddDate(1, 0, 0)); at = at.Add(tenMinutes) {
					days := at.Sub(spring).Hours() / 24
					d.say("air", at, coarse(12+8*math.Sin(2*math.Pi*days)+4*math.Sin(days/9), 0.0625))
					cellar := 11 + 3*math.Sin(2*math.Pi*days/365) + 0.4*math.Sin(days/11)
					d.say("crate-t", at, coarse(cellar+noise*rng.NormFloat64(), step))
				}
				d.none(t)
			})
		}
	}
}

// A week of still air makes honest runs of a coarse probe longer than ever.
func TestStillAirIsNotFrozen(t *testing.T) {
	d := newTester(nursery(tenMinutes))
	for at := spring; at.Before(spring.AddDate(0, 0, 60)); at = at.Add(tenMinutes) {
		days := at.Sub(spring).Hours() / 24
		swing := 6.0
		if days > 40 && days < 47 {
			swing = 0.2
		}
		air := 12.2 + swing*math.Sin(2*math.Pi*days)
		d.say("air", at, coarse(air, 0.0625))
		d.say("bed-top", at, coarse(12.2+0.4*(air-12.2), 0.5))
	}
	d.none(t)
}
