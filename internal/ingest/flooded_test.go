package ingest_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// Water gets into a probe, or the bin is wet.
func TestWaterInAProbe(t *testing.T) {
	const hour = time.Hour
	soak := func(h float64) float64 { return 24 * (1 - math.Exp(-h/2)) }
	cases := []struct {
		name string
		id   string
		adds func(h float64) float64
		also func(h float64) float64 // at another probe of the farm
		jot  time.Duration           // after it began; 0 for none
		what farm.JotKind
		look time.Duration
		want farm.Doubt
	}{
		{name: "it climbs to the end within hours", id: "far-m", adds: soak, look: 14 * hour, want: farm.Flooded},
		{name: "at once", id: "far-m", adds: func(float64) float64 { return 25 }, look: 4 * hour, want: farm.Flooded},
		{name: "with the can, and stays there", id: "far-m", adds: soak, jot: hour / 6, what: farm.Watered, look: 70 * hour, want: farm.Flooded},
		{name: "with the can, the same day", id: "far-m", adds: soak, jot: hour / 6, what: farm.Watered, look: 24 * hour},
		{name: "the keeper has looked, and it is right", id: "far-m", adds: soak, jot: 20 * hour, what: farm.Watered, look: 96 * hour},
		{name: "it dries again", id: "far-m", adds: func(h float64) float64 { return soak(h) * math.Exp(-max(0, h-30)/12) }, look: 90 * hour},
		{name: "water poured beside it, and nobody wrote that", id: "far-m", adds: func(h float64) float64 { return 26 * math.Exp(-h/9) }, look: 12 * hour},
		{name: "rain, which others feel", id: "far-m", adds: soak, also: func(h float64) float64 { return 0.6 * soak(h) }, look: 60 * hour},
		{name: "wet, but no wetter than stuff gets", id: "bed-m1", adds: func(h float64) float64 { return 0.7 * soak(h) }, look: 24 * hour},
	}
	for _, tt := range cases {
		for _, every := range []time.Duration{tenMinutes, time.Hour} {
			t.Run(tt.name+" every "+every.String(), func(t *testing.T) {
				f := nursery(every)
				f.Bins[0].Zones[0].Probes = []string{"bed-m1"}
				d, rng := newTester(f), rand.New(rand.NewPCG(2, 2))
				began, last := spring.AddDate(0, 0, 5), farm.NoDoubt
				other := map[string]string{"far-m": "bed-m1", "bed-m1": "far-m"}[tt.id]
				for at := spring; !at.After(began.Add(tt.look)); at = at.Add(every) {
					h := at.Sub(began).Hours()
					v, o := 70.0, 70.0
					if h >= 0 {
						if v += tt.adds(h); tt.also != nil {
							o += tt.also(h)
						}
					}
					if tt.jot != 0 && at.Sub(began) >= tt.jot && at.Sub(began) < tt.jot+every {
						d.Jotted(farm.Jot{At: at, Bin: "bed", What: tt.what})
					}
					last = d.say(tt.id, at, min(100, coarse(v+0.3*rng.NormFloat64(), 0.1)))
					if got := d.say(other, at.Add(time.Second), min(100, coarse(o+0.3*rng.NormFloat64(), 0.1))); got == farm.Flooded {
						t.Fatalf("%s: the other one is doubted: %s", at, got)
					}
				}
				if last != tt.want {
					t.Errorf("in the end got %q, want %q", last, tt.want)
				}
				for _, r := range d.doubted {
					if tt.want == farm.NoDoubt && tt.what == "" && r.Doubt == farm.Flooded && tt.name != "it dries again" || r.At.Before(began) {
						t.Fatalf("doubted: %+v", r)
					}
				}
			})
		}
	}
}
