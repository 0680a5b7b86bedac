package ingest_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// A pair lives together for ten days, then something happens to the first.
func TestTwinsApart(t *testing.T) {
	cases := []struct {
		name     string
		quantity farm.Quantity
		happens  func(h float64) float64 // what is added to the first, h hours on
		jot      farm.JotKind
		want     farm.Doubt
	}{
		{"drifts down 1 K an hour", farm.Temperature, ramp(-1, -10), "", farm.TwinApart},
		{"drifts down in two days", farm.Temperature, ramp(-0.25, -11), "", farm.TwinApart},
		{"feed heats one end, and nobody jotted it", farm.Temperature, ramp(0.5, 14), "", farm.NoDoubt},
		{"the same within hours", farm.Temperature, ramp(3, 18), "", farm.NoDoubt},
		{"the same in three days", farm.Temperature, ramp(0.17, 12), "", farm.NoDoubt},
		{"steps up", farm.Temperature, ramp(100, 12), "", farm.TwinApart},
		{"steps up when the bin was turned", farm.Temperature, ramp(100, 12), farm.Turned, farm.NoDoubt},
		{"offset that lasts", farm.Temperature, ramp(-100, -10), "", farm.TwinApart},
		{"fresh feed heats one spot", farm.Temperature, ramp(0.5, 14), farm.Fed, farm.NoDoubt},
		{"warmer by a little", farm.Temperature, ramp(0.5, 4), "", farm.NoDoubt},
		{"moisture drifts down", farm.Moisture, ramp(-1, -30), "", farm.TwinApart},
		{"one end dries sooner", farm.Moisture, ramp(-0.1, -11), "", farm.NoDoubt},
		{"water poured at one end", farm.Moisture, ramp(100, 18), farm.Watered, farm.NoDoubt},
		{"the same without a jot", farm.Moisture, ramp(100, 18), "", farm.NoDoubt},
	}
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			first, second, level := "bed-top", "bed-deep", 20.0
			if tt.quantity == farm.Moisture {
				first, second, level = "bed-m1", "bed-m2", 66.0
			}
			d := newTester(nursery(tenMinutes))
			rng := rand.New(rand.NewPCG(6, 6))
			last, change := farm.NoDoubt, spring.AddDate(0, 0, 10)
			for at := spring; at.Before(change.AddDate(0, 0, 5)); at = at.Add(tenMinutes) {
				h := at.Sub(change).Hours()
				daily := math.Sin(2 * math.Pi * at.Sub(spring).Hours() / 24)
				moved := 0.0
				if h >= 0 {
					moved = tt.happens(h)
				}
				if h == 0 && tt.jot != "" {
					d.Jotted(farm.Jot{At: at, Bin: "bed", What: tt.jot})
				}
				noise := func() float64 { return 0.1 * rng.NormFloat64() }
				last = d.say(first, at, level+2+2*daily+moved+noise())
				if got := d.say(second, at.Add(time.Minute), level+0.5*daily+noise()); got != farm.NoDoubt {
					t.Fatalf("%s: the honest twin is doubted: %s", at, got)
				}
			}
			if last != tt.want {
				t.Errorf("in the end got %q, want %q", last, tt.want)
			}
			for _, r := range d.doubted {
				if r.At.Before(change) {
					t.Fatalf("doubted before anything happened: %v", r)
				}
			}
		})
	}
}

// ramp goes at a pace an hour to an end and stays there.
func ramp(perHour, end float64) func(h float64) float64 {
	return func(h float64) float64 {
		if perHour < 0 {
			return math.Max(perHour*h+perHour/6, end)
		}
		return math.Min(perHour*h+perHour/6, end)
	}
}

// Of three, the odd one out is doubted and the other two are not.
func TestOddOneOutOfThree(t *testing.T) {
	f := nursery(tenMinutes)
	f.Probes = append(f.Probes, probe("bed-side", farm.Temperature, tenMinutes))
	f.Bins[0].Zones[0].Probes = append(f.Bins[0].Zones[0].Probes, "bed-side")
	d := newTester(f)
	change := spring.AddDate(0, 0, 10)
	last := farm.NoDoubt
	for at := spring; at.Before(change.AddDate(0, 0, 3)); at = at.Add(tenMinutes) {
		daily := math.Sin(2 * math.Pi * at.Sub(spring).Hours() / 24)
		moved := 0.0
		if h := at.Sub(change).Hours(); h > 0 {
			moved = math.Max(-0.5*h, -10)
		}
		for i, id := range []string{"bed-top", "bed-deep"} {
			if got := d.say(id, at, coarse(20+daily+float64(i), 0.0625)); got != farm.NoDoubt {
				t.Fatalf("%s %s: %s", at, id, got)
			}
		}
		last = d.say("bed-side", at, coarse(21+daily+moved, 0.0625))
	}
	if last != farm.TwinApart {
		t.Errorf("in the end got %q, want %q", last, farm.TwinApart)
	}
}

// One end of a bed at 37.8 °C for days beside one at 26 is believed, for feed
// heats one end; and what is wrong with the probe itself is not.
func TestAHotProbeIsDoubtedForItsOwnBehaviourOnly(t *testing.T) {
	day := func(h float64) float64 { return 0.8 * math.Sin(2*math.Pi*h/24) }
	cases := []struct {
		name string
		ids  [2]string
		hot  func(h float64) float64 // h hours on
		long float64                 // h
		want farm.Doubt              // in the end
	}{
		{"feed heats it within a day", [2]string{"bed-top", "bed-deep"}, func(h float64) float64 { return min(26+0.5*h, 37.8) + day(h) }, 24 + 53, farm.NoDoubt},
		{"and keeps it hot for three weeks", [2]string{"bed-top", "bed-deep"}, func(h float64) float64 { return min(26+0.5*h, 37.8) + day(h) }, 21 * 24, farm.NoDoubt},
		{"and it cools again", [2]string{"bed-top", "bed-deep"}, func(h float64) float64 {
			return max(26, min(26+0.5*h, 37.8, 37.8-0.08*(h-60))) + day(h)
		}, 12 * 24, farm.NoDoubt},
		{"it is fed twice, five days apart", [2]string{"bed-top", "bed-deep"}, func(h float64) float64 {
			return max(min(26+0.2*h, 30), min(30+0.25*(h-120), 37.8)) + day(h)
		}, 12 * 24, farm.NoDoubt},
		{"its days are larger than its twin's, and it heats", [2]string{"bed-top", "bed-deep"}, func(h float64) float64 { return min(26+0.1*h, 37.8) + 3*day(h) }, 10 * 24, farm.NoDoubt},
		{"it is there at once", [2]string{"bed-top", "bed-deep"}, func(h float64) float64 { return 37.8 + day(h) }, 53, farm.TwinApart},
		{"and after three weeks still", [2]string{"bed-top", "bed-deep"}, func(h float64) float64 { return 37.8 + day(h) }, 21 * 24, farm.TwinApart},
		{"it drifts there in two weeks", [2]string{"bed-top", "bed-deep"}, func(h float64) float64 { return min(26+11.8*h/(14*24), 37.8) + day(h) }, 17 * 24, farm.TwinApart},
		{"it climbs for a day and then drifts there", [2]string{"bed-top", "bed-deep"}, func(h float64) float64 { return min(26+min(h/12, 2)+1.2*h/24, 37.8) + day(h) }, 12 * 24, farm.TwinApart},
		{"it gets there and misses the day", [2]string{"bed-top", "bed-deep"}, func(h float64) float64 { return min(26+0.5*h, 37.8) }, 10 * 24, farm.TwinApart},
		{"in a tub that no feed heats", [2]string{"crate-t", "crate-t2"}, func(h float64) float64 { return min(26+0.5*h, 37.8) + day(h) }, 53, farm.TwinApart},
	}
	for _, tt := range cases {
		for _, every := range []time.Duration{tenMinutes, time.Hour, 2 * time.Hour} {
			t.Run(tt.name+" every "+every.String(), func(t *testing.T) {
				f := nursery(every)
				f.Probes = append(f.Probes, probe("crate-t2", farm.Temperature, every))
				f.Bins[1].Zones[0].Probes = append(f.Bins[1].Zones[0].Probes, "crate-t2")
				d := newTester(f)
				rng := rand.New(rand.NewPCG(3, 3))
				last, change := farm.NoDoubt, spring.AddDate(0, 0, 10)
				for at := spring; at.Before(change.Add(time.Duration(tt.long * float64(time.Hour)))); at = at.Add(every) {
					h := at.Sub(change).Hours()
					v := 26 + day(h)
					if h >= 0 {
						v = tt.hot(h)
					}
					last = d.say(tt.ids[0], at, coarse(v+0.05*rng.NormFloat64(), 0.0625))
					d.say(tt.ids[1], at.Add(time.Second), coarse(26+day(h)+0.05*rng.NormFloat64(), 0.0625))
				}
				if last != tt.want {
					t.Errorf("in the end got %q, want %q", last, tt.want)
				}
				for _, r := range d.doubted {
					if r.Probe == tt.ids[1] || r.At.Before(change) || tt.want == farm.NoDoubt {
						t.Fatalf("doubted: %+v", r)
					}
				}
			})
		}
	}
}

// Half a degree is all that a coarse probe can tell: what such steps pretend to
// climb within a day is no feed's heat.
func TestACoarseProbeThatDriftsIsDoubted(t *testing.T) {
	f := nursery(time.Hour)
	believed := 0
	for seed := range uint64(12) {
		d, rng := newTester(f), rand.New(rand.NewPCG(seed, 3))
		day := func(h float64) float64 { return 2.5*math.Sin(2*math.Pi*h/24) + math.Sin(h/70+float64(seed)) }
		read := func(v float64) float64 { return coarse(v+0.06*rng.NormFloat64(), 0.5) }
		last, change := farm.NoDoubt, spring.AddDate(0, 0, 10)
		for at := spring; at.Before(change.AddDate(0, 0, 9)); at = at.Add(time.Hour) {
			h := at.Sub(change).Hours()
			last = d.say("bed-top", at, read(20+day(h)+1.5*max(0, h)/24))
			d.say("bed-deep", at.Add(11*time.Minute), read(20+day(h+0.2)))
		}
		if last != farm.TwinApart {
			believed++
		}
	}
	if believed > 0 {
		t.Errorf("%d of 12 probes are believed that have drifted 13 K from their twin", believed)
	}
}

// A keeper who has looked and jots it is believed.
func TestAJotTellsThatApartIsRight(t *testing.T) {
	d := newTester(nursery(tenMinutes))
	change := spring.AddDate(0, 0, 10)
	for at := spring; at.Before(change.AddDate(0, 0, 6)); at = at.Add(tenMinutes) {
		v, h := 20.0, at.Sub(change).Hours()
		if h >= 0 {
			v = 29
		}
		if h == 72 {
			d.Jotted(farm.Jot{At: at, Bin: "bed", What: farm.Turned})
		}
		day := 0.5 * math.Sin(h/4)
		got := d.say("bed-top", at, coarse(v+day, 0.0625))
		d.say("bed-deep", at.Add(time.Second), coarse(20+day, 0.0625))
		if doubted := got != farm.NoDoubt; doubted != (h >= 0 && h < 72) && (h < 72 || h > 73) {
			t.Fatalf("%.1f h after the step, jotted after 72: doubt %q", h, got)
		}
	}
}

// In a cellar without a day to miss, a probe that climbs as feed heats is
// believed; should it then repeat one number for days, it is stuck.
func TestAHotProbeThatSticksIsDoubted(t *testing.T) {
	for _, step := range []float64{0.0625, 0.5} {
		f := nursery(tenMinutes)
		f.Bins[0].Ambient = ""
		d := newTester(f)
		rng := rand.New(rand.NewPCG(5, 5))
		climbs := spring.AddDate(0, 0, 14)
		sticks := climbs.AddDate(0, 0, 4)
		since := time.Time{}
		for at := spring; at.Before(sticks.AddDate(0, 0, 8)); at = at.Add(tenMinutes) {
			noise := func() float64 { return 0.05 * rng.NormFloat64() }
			calm := 20 + 0.4*math.Sin(at.Sub(spring).Hours()/9)
			d.say("bed-deep", at, coarse(calm+noise(), step))
			v := coarse(calm+noise()+max(0, min(3.5*at.Sub(climbs).Hours()/24, 14)), step)
			if !at.Before(sticks) {
				v = 34
			}
			if d.say("bed-top", at.Add(time.Second), v) != farm.NoDoubt && since.IsZero() {
				since = at
			}
		}
		if long := since.Sub(sticks); long < 12*time.Hour || long > 6*24*time.Hour {
			t.Errorf("step %v: doubted %s after it stuck", step, long)
		}
	}
}
