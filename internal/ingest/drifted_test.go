package ingest_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// A bin with its room for half a year; after forty days its probe, or the bin, does
// something.
func TestAProbeThatGoesOffSlowly(t *testing.T) {
	warming := func(days float64) float64 { return 8 + days/10 }
	cases := []struct {
		name   string
		id     string
		room   func(days float64) float64
		bin    func(days, room float64) float64 // days since
		jot    float64                          // days after which the bin is jotted as turned; 0 for never
		want   farm.Doubt
		latest float64 // days since, by which it is doubted
	}{
		{"down by 0.15 K a day", "far-t", warming, func(d, room float64) float64 { return room + 1 - 0.15*max(0, d) }, 0, farm.Drifted, 80},
		{"down by 0.15 K a day, beside feed that keeps it warm", "far-t", warming, func(d, room float64) float64 { return room + 4 - 0.15*max(0, d) }, 0, farm.Drifted, 90},
		{"up, in a tub that nothing heats", "crate-t", warming, func(d, room float64) float64 { return room + 1 + 0.2*max(0, d) }, 0, farm.Drifted, 70},
		{"it was looked at and is right", "far-t", warming, func(d, room float64) float64 { return room + 1 - 4.9*min(1, max(0, d)/30) }, 60, farm.NoDoubt, 0},
		{"up, where feed may heat", "bed-top", warming, func(d, room float64) float64 { return room + 1 + 0.1*max(0, d) }, 0, farm.NoDoubt, 0},
		{"the heat of its feed ends", "far-t", warming, func(d, room float64) float64 { return room + 10*math.Exp(-max(0, d)/15) }, 0, farm.NoDoubt, 0},
		{"it is carried into the cold", "far-t", warming, func(d, room float64) float64 {
			return room + 1 - 9*(1-math.Exp(-max(0, d)*4))
		}, 0, farm.NoDoubt, 0},
		{"a big one on the ground hardly follows", "far-t", warming, func(d, room float64) float64 { return 10 + 0.25*(room-10) }, 0, farm.NoDoubt, 0},
		{"its room is heated from a day on", "far-t", func(days float64) float64 { return 8 + 10/(1+math.Exp(40-days)) }, func(d, room float64) float64 { return 8 + 0.3*(room-8) }, 0, farm.NoDoubt, 0},
	}
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			f := nursery(30 * time.Minute)
			f.Bins[1].Ambient = "air"
			d, rng, found, last := newTester(f), rand.New(rand.NewPCG(8, 8)), math.NaN(), farm.NoDoubt
			jotted := tt.jot == 0
			for at := spring; at.Before(spring.AddDate(0, 0, 150)); at = at.Add(30 * time.Minute) {
				days := at.Sub(spring).Hours() / 24
				room := tt.room(days) + 2*math.Sin(2*math.Pi*days) + 1.5*math.Sin(days/3)
				if !jotted && days-40 > tt.jot {
					d.Jotted(farm.Jot{At: at, Bin: "bed", What: farm.Turned})
					jotted = true
				}
				d.say("air", at, coarse(room, 0.0625))
				last = d.say(tt.id, at.Add(time.Second), coarse(tt.bin(days-40, room-1.6*math.Sin(2*math.Pi*days))+0.05*rng.NormFloat64(), 0.0625))
				if last == farm.Drifted && math.IsNaN(found) {
					found = days - 40
				}
			}
			if last != tt.want {
				t.Errorf("in the end got %q, want %q", last, tt.want)
			}
			if tt.latest > 0 && !(found > 0 && found <= tt.latest) || tt.latest == 0 && tt.jot == 0 && !math.IsNaN(found) {
				t.Errorf("doubted after %.0f days", found)
			}
			t.Logf("doubted after %.0f days", found)
		})
	}
}

// Where the thermometer in the air goes off, no bin in that air is doubted.
func TestAirThatGoesOffAccusesNoBin(t *testing.T) {
	f := nursery(time.Hour)
	f.Bins[1].Ambient = "air"
	d, rng := newTester(f), rand.New(rand.NewPCG(8, 9))
	for at := spring; at.Before(spring.AddDate(0, 0, 150)); at = at.Add(time.Hour) {
		days := at.Sub(spring).Hours() / 24
		room := 14 + 2*math.Sin(2*math.Pi*days) + 1.5*math.Sin(days/3)
		d.say("air", at, coarse(room+0.2*max(0, days-40), 0.0625))
		d.say("far-t", at.Add(time.Second), coarse(room+1+0.05*rng.NormFloat64(), 0.0625))
		d.say("crate-t", at.Add(2*time.Second), coarse(room+0.05*rng.NormFloat64(), 0.0625))
	}
	d.none(t)
}
