package ingest_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
)

// A bed dries by about a point a day and is watered when it gets low. The
// probe's noise of 0 to 3 points and its swing with the day's warmth are those
// of cheap capacitive probes (Nagahage et al. 2019, Agriculture 9:141: errors
// of 0.05 to 0.09 m³/m³; the shares of noise and swing are common practice, no
// source).
type dryingBed struct {
	noise, swing, step float64
	jotted             bool
}

// year runs a year of readings and gives the number of waterings.
func (b dryingBed) year(d *tester, id string, every time.Duration) (waterings int) {
	rng := rand.New(rand.NewPCG(3, uint64(b.noise*8+b.step*100)))
	m, end := 80.0, spring.AddDate(1, 0, 0)
	for at := spring; at.Before(end); at = at.Add(every) {
		m -= 1.1 * every.Hours() / 24
		if m < 64+6*rng.Float64() && at.Hour() == 9 {
			m += 8 + 10*rng.Float64()
			waterings++
			if b.jotted {
				d.Jotted(farm.Jot{At: at.Add(20 * time.Minute), Bin: "bin", What: farm.Watered, Litres: 3})
			}
		}
		hour := float64(at.Hour()) + float64(at.Minute())/60
		v := m + b.noise*rng.NormFloat64() + b.swing/2*math.Sin((hour-9)*math.Pi/12)
		d.say(id, at, math.Min(math.Max(coarse(v, b.step), 0), 100))
	}
	return waterings
}

func TestDryingAndWateringAreNeverDoubtedForLong(t *testing.T) {
	efforttest.Long(t)
	for _, noise := range []float64{0, 0.3, 1, 3} {
		for _, step := range []float64{0.1, 1, 5} {
			for _, every := range []time.Duration{10 * time.Minute, time.Hour} {
				b := dryingBed{noise: noise, swing: 2, step: step}
				t.Run(fmt.Sprintf("noise %v step %v every %v", noise, step, every), func(t *testing.T) {
					d := newTester(lone(farm.Moisture, every))
					waterings := b.year(d, "p", every)
					if waterings < 15 {
						t.Fatalf("only %d waterings", waterings)
					}
					if len(d.doubted) > waterings {
						t.Errorf("%d doubts for %d waterings", len(d.doubted), waterings)
					}
					for _, r := range d.doubted {
						if r.Doubt != farm.Spike {
							t.Errorf("%v at %s doubted as %s", r.Value, r.At, r.Doubt)
						}
					}
				})
			}
		}
	}
}

// A watering that was jotted is believed at once.
func TestJottedWateringIsNotDoubted(t *testing.T) {
	d := newTester(lone(farm.Moisture, 10*time.Minute))
	at := spring
	for range 300 {
		d.say("p", at, 62)
		at = at.Add(10 * time.Minute)
	}
	d.Jotted(farm.Jot{At: at, Bin: "bin", What: farm.Watered, Litres: 4})
	for _, v := range []float64{88, 84, 81, 79, 78, 77.5, 77} {
		d.say("p", at, v)
		at = at.Add(10 * time.Minute)
	}
	d.none(t)
}

// The peak after a watering drains away within the hour; that fall is no
// lifting out.
func TestDrainingAfterWateringIsBelieved(t *testing.T) {
	d := newTester(lone(farm.Moisture, 10*time.Minute))
	at := spring
	for range 300 {
		d.say("p", at, 62)
		at = at.Add(10 * time.Minute)
	}
	var got []farm.Doubt
	for _, v := range []float64{95, 95, 80, 72, 70, 69} {
		got = append(got, d.say("p", at, v))
		at = at.Add(10 * time.Minute)
	}
	if n := len(d.doubted); n != 1 || got[0] != farm.Spike {
		t.Errorf("doubts %v, want only the first reading doubted, as a spike", got)
	}
}
