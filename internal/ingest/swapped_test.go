package ingest_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// Two bins of one shed, and what happens after ten days.
func TestTwoProbesThatChangedPlaces(t *testing.T) {
	const d = 24.0 // h
	day := func(h float64) float64 { return math.Sin(2 * math.Pi * h / d) }
	warm, cool := func(h float64) float64 { return 22 + 1.5*day(h) }, func(h float64) float64 { return 16 + 0.5*day(h-2) }
	// after gives what each reads, h hours after.
	cases := []struct {
		name  string
		after func(h float64) (a, b float64)
		jots  map[float64]farm.JotKind
		look  float64
		want  farm.Doubt
	}{
		{"they changed places", func(h float64) (float64, float64) { return cool(h), warm(h) }, nil, 34, farm.Swapped},
		{"when the bin was fed", func(h float64) (float64, float64) { return cool(h), warm(h) }, map[float64]farm.JotKind{0: farm.Fed}, 34, farm.Swapped},
		{"and the keeper has looked: it is right", func(h float64) (float64, float64) { return cool(h), warm(h) }, map[float64]farm.JotKind{40: farm.Turned}, 46, farm.NoDoubt},
		{"and were put back", func(h float64) (float64, float64) {
			if h < 40 {
				return cool(h), warm(h)
			}
			return warm(h), cool(h)
		}, nil, 52, farm.NoDoubt},
		{"the bins were emptied and filled anew", func(h float64) (float64, float64) { return cool(h), warm(h) }, map[float64]farm.JotKind{0: farm.Emptied}, 34, farm.NoDoubt},
		{"feed heats the one as the other cools, within three days", func(h float64) (float64, float64) {
			part := min(1, h/72)
			return warm(h) - 6*part, cool(h) + 6*part
		}, nil, 120, farm.NoDoubt},
		{"both are carried into the warm", func(h float64) (float64, float64) {
			return 26 + (warm(h)-26)*math.Exp(-h/6), 25 + (cool(h)-25)*math.Exp(-h/6)
		}, nil, 60, farm.NoDoubt},
		{"the one is opened to the cold as the other warms for a day", func(h float64) (float64, float64) {
			in := math.Exp(-math.Pow((h-6)/5, 2))
			return warm(h) - 8*in, cool(h) + 8*in
		}, nil, 60, farm.NoDoubt},
	}
	for _, tt := range cases {
		for _, every := range []time.Duration{tenMinutes, time.Hour} {
			t.Run(tt.name+" every "+every.String(), func(t *testing.T) {
				doubter, rng := newTester(nursery(every)), rand.New(rand.NewPCG(4, 4))
				began := spring.AddDate(0, 0, 10).Add(10 * time.Hour)
				jots := map[float64]farm.JotKind{}
				for h, what := range tt.jots {
					jots[h] = what
				}
				last := map[string]farm.Doubt{}
				for at := spring; at.Sub(began).Hours() <= tt.look; at = at.Add(every) {
					h := at.Sub(began).Hours()
					a, b := warm(h), cool(h)
					if h >= 0 {
						a, b = tt.after(h)
					}
					for when, what := range jots {
						if h >= when {
							doubter.Jotted(farm.Jot{At: at, Bin: "bed", What: what})
							delete(jots, when)
						}
					}
					last["far-t"] = doubter.say("far-t", at, coarse(a+0.04*rng.NormFloat64(), 0.0625))
					last["crate-t"] = doubter.say("crate-t", at.Add(time.Second), coarse(b+0.04*rng.NormFloat64(), 0.0625))
				}
				for id, got := range last {
					if got != tt.want {
						t.Errorf("%s in the end: got %q, want %q", id, got, tt.want)
					}
				}
				for _, r := range doubter.doubted {
					if r.Doubt == farm.Swapped && tt.want == farm.NoDoubt && tt.look > 52 || r.At.Before(began) {
						t.Fatalf("doubted: %+v", r)
					}
				}
			})
		}
	}
}
