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
		{"drifts up to +14", farm.Temperature, ramp(0.5, 14), "", farm.TwinApart},
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
