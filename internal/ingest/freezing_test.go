package ingest_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
)

// A stander is a kind of probe that may honestly stand for days, in a place.
type stander struct {
	name        string
	measures    farm.Quantity
	step, noise float64
	swing       float64       // of the place, from day to day and through the day
	tau         time.Duration // in which it follows the weather; 0 for a cellar
	air         bool          // the room's air is measured
	every       time.Duration
	found       bool // it is to be found: its noise shows at any place within a step, or much moves
}

var standers = []stander{
	{name: "0.5 °C in a shed, no air", measures: farm.Temperature, step: 0.5, noise: 0.05, tau: 8 * time.Hour, every: tenMinutes},
	{name: "1/16 °C in a slow shed", measures: farm.Temperature, step: 0.0625, noise: 0.01, tau: 48 * time.Hour, air: true, every: time.Hour},
	{name: "1/16 °C, calm cellar", measures: farm.Temperature, step: 0.0625, noise: 0.03, swing: 0.2, every: tenMinutes, found: true},
	{name: "1/16 °C, calm cellar, hourly", measures: farm.Temperature, step: 0.0625, noise: 0.05, swing: 0.2, every: time.Hour},
	{name: "1/16 °C without noise, calm cellar", measures: farm.Temperature, step: 0.0625, swing: 0.2, every: tenMinutes},
	{name: "1/16 °C, hardly any noise, calm cellar", measures: farm.Temperature, step: 0.0625, noise: 0.01, swing: 0.1, every: tenMinutes},
	{name: "0.01 °C, calm cellar", measures: farm.Temperature, step: 0.01, noise: 0.02, swing: 0.2, every: tenMinutes, found: true},
	{name: "0.1 °C, calm cellar", measures: farm.Temperature, step: 0.1, noise: 0.05, swing: 0.3, every: tenMinutes, found: true},
	{name: "0.1 °C, little noise, calm cellar", measures: farm.Temperature, step: 0.1, noise: 0.02, swing: 0.3, every: tenMinutes},
	{name: "0.1 °C, noise of a quarter of that", measures: farm.Temperature, step: 0.1, noise: 0.025, swing: 0.2, every: tenMinutes},
	{name: "0.1 °C, noise of a third of that", measures: farm.Temperature, step: 0.1, noise: 0.033, swing: 0.2, every: tenMinutes},
	{name: "0.5 °C, noise of a third of that", measures: farm.Temperature, step: 0.5, noise: 0.17, swing: 0.2, every: tenMinutes},
	{name: "0.5 °C, calm cellar", measures: farm.Temperature, step: 0.5, noise: 0.05, swing: 0.4, every: tenMinutes},
	{name: "0.5 °C, more noise, calm cellar", measures: farm.Temperature, step: 0.5, noise: 0.12, swing: 0.4, every: tenMinutes},
	{name: "0.5 °C, calm cellar, the air is measured", measures: farm.Temperature, step: 0.5, noise: 0.05, swing: 0.4, air: true, every: tenMinutes},
	{name: "1 °C, calm cellar, every minute", measures: farm.Temperature, step: 1, noise: 0.2, swing: 0.4, every: time.Minute},
	{name: "1/16 °C in a shed", measures: farm.Temperature, step: 0.0625, noise: 0.03, tau: 12 * time.Hour, air: true, every: tenMinutes, found: true},
	{name: "0.5 °C in a shed", measures: farm.Temperature, step: 0.5, noise: 0.05, tau: 12 * time.Hour, air: true, every: tenMinutes},
	{name: "0.1 % with noise", measures: farm.Moisture, step: 0.1, noise: 0.3, swing: 0.5, every: tenMinutes, found: true},
	{name: "0.1 % with little noise", measures: farm.Moisture, step: 0.1, noise: 0.05, swing: 0.3, every: tenMinutes, found: true},
	{name: "0.1 % without noise, insulated", measures: farm.Moisture, step: 0.1, swing: 0.05, every: tenMinutes},
	{name: "0.1 % with hardly any noise, insulated", measures: farm.Moisture, step: 0.1, noise: 0.015, swing: 0.1, every: tenMinutes},
	{name: "1 % in an insulated bin", measures: farm.Moisture, step: 1, noise: 0.1, swing: 0.3, every: tenMinutes},
	{name: "1 % with noise, hourly", measures: farm.Moisture, step: 1, noise: 0.8, swing: 1, every: time.Hour},
}

// run has a probe of this kind speak for some days, and repeat its number from one
// day on; 0 for never. It gives how long after that it was doubted.
func (s stander) run(t *testing.T, w weather, seed uint64, days, freezes float64) (found time.Duration, d *tester) {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 77))
	f := lone(s.measures, s.every)
	if s.air {
		f.Probes = append(f.Probes, probe("air", farm.Temperature, s.every))
		f.Bins[0].Ambient = "air"
	}
	d = newTester(f)
	begin := w.first.AddDate(0, 0, rng.IntN(1200)).Add(time.Duration(rng.IntN(144)) * tenMinutes)
	level, slow, phase := 13+5*rng.Float64(), 6+9*rng.Float64(), 7*rng.Float64()
	if s.measures == farm.Moisture {
		level += 55
	}
	bed := damped{tau: s.tau}
	fixed, dry := math.NaN(), 0.02*rng.Float64()
	for at := begin; at.Sub(begin).Hours() < 24*days; at = at.Add(s.every) {
		h := at.Sub(begin).Hours()
		if s.air {
			d.say("air", at, coarse(w.at(at), 0.0625))
		}
		v := level + s.swing*math.Sin(h/24/slow*2*math.Pi+phase) + 0.3*s.swing*math.Sin(h*math.Pi/12)
		switch {
		case s.tau != 0:
			v = bed.follow(w.at(at), s.every)
		case s.measures == farm.Moisture:
			v -= dry * h / 24
		}
		v = coarse(v+s.noise*rng.NormFloat64(), s.step)
		if freezes > 0 && h >= 24*freezes {
			if math.IsNaN(fixed) {
				fixed = v
			}
			v = fixed
		}
		if d.say("p", at.Add(time.Second), v) != farm.NoDoubt && !math.IsNaN(fixed) {
			return time.Duration((h - 24*freezes) * float64(time.Hour)), d
		}
	}
	return 0, d
}

// A probe that freezes in its first days is found within three, where it had noise
// that shows; and one that may honestly stand is believed however long it does.
func TestAProbeThatFreezesSoonIsFound(t *testing.T) {
	efforttest.Long(t)
	w := readWeather(t)
	seeds, honest := efforttest.Cases(5, 30), efforttest.Cases(5, 100)
	for _, s := range standers {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			found, of := 0, 0
			for _, after := range []float64{1, 2, 4, 7} {
				n := 0
				for seed := range seeds {
					after := after + 0.2 + 0.3*float64(seed%3)
					if late, _ := s.run(t, w, uint64(seed), after+3, after); late > 0 {
						n++
					}
				}
				t.Logf("frozen after %v days and some hours: found within three days in %d of %d", after, n, seeds)
				found, of = found+n, of+seeds
			}
			if s.found && found*10 < of*9 {
				t.Errorf("found in %d of %d", found, of)
			}
			for seed := range honest {
				if _, d := s.run(t, w, uint64(1000+seed), 60, 0); len(d.doubted) > 0 {
					t.Errorf("honest, seed %d:", seed)
					d.none(t)
				}
			}
		})
	}
}

// followers are coarse probes whose noise never shows, and which go with their room.
var followers = []stander{
	{name: "0.5 °C in a shed", measures: farm.Temperature, step: 0.5, noise: 0.05, tau: 12 * time.Hour, air: true, every: tenMinutes},
	{name: "0.5 °C in a yard", measures: farm.Temperature, step: 0.5, noise: 0.08, tau: 6 * time.Hour, air: true, every: 30 * time.Minute},
	{name: "1 °C in a yard, hourly", measures: farm.Temperature, step: 1, noise: 0.1, tau: 4 * time.Hour, air: true, every: time.Hour},
}

// A coarse probe that goes with its room every day and then stops is found within three
// days; by its noise and its longest run alone 23 of 36 were.
func TestACoarseProbeThatLeavesItsRoomIsFound(t *testing.T) {
	t.Parallel()
	w, seeds, found := readWeather(t), efforttest.Cases(12, 100), 0
	for _, s := range followers {
		for seed := range seeds {
			after := 21.2 + 0.3*float64(seed%3)
			if late, _ := s.run(t, w, uint64(3000+seed), after+3, after); late > 0 {
				found++
			}
			if _, d := s.run(t, w, uint64(3000+seed), after, 0); len(d.doubted) > 0 {
				t.Errorf("%s, honest, seed %d:", s.name, seed)
				d.none(t)
			}
		}
	}
	if of := seeds * len(followers); found*10 < of*8 {
		t.Errorf("found %d of %d", found, of)
	}
}

// Ground under snow stands at 0 °C for weeks, whatever the air does (the zero curtain;
// from memory), and a cellar whose door stands open for a week is a cellar still.
func TestSnowAndAnOpenDoorAreNotFrozen(t *testing.T) {
	for _, tt := range []struct {
		name                     string
		air, swing, bed, follows float64 // before
		under, then              float64 // °C of the bed and K of the air's swing, from the fortieth day on
	}{
		{"snow", 2, 5, 2, 0.3, 0.1, 6},
		{"door", 12, 0.3, 12.2, 0.3, 12.2, 5},
	} {
		t.Run(tt.name, func(t *testing.T) {
			d := newTester(nursery(tenMinutes))
			rng := rand.New(rand.NewPCG(8, 8))
			for at := spring; at.Before(spring.AddDate(0, 0, 60)); at = at.Add(tenMinutes) {
				days := at.Sub(spring).Hours() / 24
				swing, bed, follows := tt.swing, tt.bed, tt.follows
				if days > 40 {
					swing, bed, follows = tt.then, tt.under, 0
				}
				wave := swing * math.Sin(2*math.Pi*days)
				d.say("air", at, coarse(tt.air+wave, 0.0625))
				d.say("bed-top", at, coarse(bed+follows*wave+0.05*rng.NormFloat64(), 0.5))
			}
			d.none(t)
		})
	}
}
