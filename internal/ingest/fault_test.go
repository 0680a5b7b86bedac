package ingest_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

const tenMinutes = 10 * time.Minute

// calm says quiet honest readings for some days and gives the time after them.
func (d *tester) calm(id string, from time.Time, days int, level float64) time.Time {
	rng := rand.New(rand.NewPCG(9, 9))
	at := from
	for at.Before(from.AddDate(0, 0, days)) {
		h := float64(at.Hour()) + float64(at.Minute())/60
		v := level + 0.8*math.Sin((h-9)*math.Pi/12) + 0.05*rng.NormFloat64()
		d.say(id, at, coarse(v, 0.0625))
		at = at.Add(tenMinutes)
	}
	return at
}

func TestNumbersThatAreNoReadings(t *testing.T) {
	cases := []struct {
		name, id string
		value    float64
		want     farm.Doubt
	}{
		// DS18B20 datasheet, Maxim Integrated 2019: 85 °C is the power-on value.
		{"power-on value", "bed-top", 85, farm.FaultCode},
		{"the same from °F", "bed-top", farm.CelsiusOf(185), farm.FaultCode},
		{"no answer", "bed-top", -127, farm.FaultCode},
		{"no answer from °F", "bed-top", farm.CelsiusOf(-196.6), farm.FaultCode},
		{"not a number", "bed-top", math.NaN(), farm.NotANumber},
		{"infinite", "bed-m1", math.Inf(-1), farm.NotANumber},
		{"too hot for a bin", "bed-top", 80.1, farm.OutOfRange},
		{"too cold for a bin", "bed-top", -40.1, farm.OutOfRange},
		{"over full of water", "bed-m1", 103.5, farm.OutOfRange},
		{"under dry", "bed-m1", -3.5, farm.OutOfRange},
		{"battery", "crate-b", -0.1, farm.OutOfRange},
		{"battery of a house", "crate-b", 61, farm.OutOfRange},
		{"honest hot", "bed-top", 79.9, farm.NoDoubt},
		{"honest battery", "crate-b", 3.31, farm.NoDoubt},
	}
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			d := newTester(nursery(tenMinutes))
			if got := d.say(tt.id, spring, tt.value); got != tt.want {
				t.Errorf("got %q, want %q", got, tt.want)
			}
		})
	}
}

// An all-zero scratchpad passes the DS18B20's checksum and reads exactly 0 °C.
func TestExactZero(t *testing.T) {
	cases := []struct {
		name            string
		own, neighbours float64
		value           float64
		want            farm.Doubt
	}{
		{"all neighbours and the past are warm", 18, 17, 0, farm.FaultCode},
		{"not quite zero is no fault code", 18, 17, 0.0625, farm.TooFast},
		{"a cold bin among warm ones", 0.4, 17, 0, farm.NoDoubt},
		{"a frost", 0.6, 1, 0, farm.NoDoubt},
	}
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			d := newTester(nursery(tenMinutes))
			at := spring
			for range 20 {
				for _, id := range []string{"bed-deep", "far-t"} {
					d.say(id, at, tt.neighbours)
				}
				d.say("bed-top", at, tt.own)
				at = at.Add(tenMinutes)
			}
			d.none(t)
			for range 40 { // it must not be believed by lasting
				if got := d.say("bed-top", at, tt.value); got != tt.want {
					t.Fatalf("at %s got %q, want %q", at, got, tt.want)
				}
				for _, id := range []string{"bed-deep", "far-t"} {
					d.say(id, at, tt.neighbours)
				}
				at = at.Add(tenMinutes)
				if tt.want == farm.TooFast && at.Sub(spring) > 5*time.Hour {
					break
				}
			}
		})
	}
}

// A coarse probe outdoors may be found at zero after hours unheard in a
// frosty night.
func TestZeroAfterAGapIsBelieved(t *testing.T) {
	d := newTester(nursery(tenMinutes))
	at := spring
	for range 40 {
		d.say("far-t", at, 15)
		d.say("bed-top", at, 6)
		at = at.Add(tenMinutes)
	}
	at = at.Add(3 * time.Hour)
	for range 30 {
		d.say("far-t", at, 15)
		d.say("bed-top", at, 0)
		at = at.Add(tenMinutes)
	}
	d.none(t)
}

// Hampel's filter, k = 3, 3 MAD, leaves 20.0 20.1 20.0 20.2 85 20.1 20.2 20.1
// -127 20.2 20.3 unchanged but for the two outliers (computed from the formula
// of Hampel 1974, J Am Stat Assoc 69:383–393). Here with outliers that are no
// fault codes.
func TestSpikesOfAPublishedSeries(t *testing.T) {
	d := newTester(lone(farm.Temperature, tenMinutes))
	at := d.calm("p", spring, 2, 20)
	want := map[int]farm.Doubt{4: farm.TooFast, 8: farm.TooFast}
	for i, v := range []float64{20.0, 20.1, 20.0, 20.2, 55, 20.1, 20.2, 20.1, -12, 20.2, 20.3} {
		if got := d.say("p", at, v); got != want[i] {
			t.Errorf("%v: got %q, want %q", v, got, want[i])
		}
		at = at.Add(tenMinutes)
	}
}

func TestSingleSpikesAreCaughtAndForgotten(t *testing.T) {
	cases := []struct {
		name     string
		quantity farm.Quantity
		level    float64
		by       float64
	}{
		{"temperature up", farm.Temperature, 20, 4},
		{"temperature down", farm.Temperature, 20, -4},
		{"temperature far up", farm.Temperature, 20, 30},
		{"moisture up", farm.Moisture, 70, 15},
		{"moisture down", farm.Moisture, 70, -10},
		{"moisture far down", farm.Moisture, 70, -60},
	}
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			d := newTester(lone(tt.quantity, tenMinutes))
			at := d.calm("p", spring, 2, tt.level)
			for range 20 {
				if got := d.say("p", at, tt.level+tt.by); got == farm.NoDoubt {
					t.Fatalf("a spike of %v was believed", tt.by)
				}
				for k := 1; k <= 5; k++ {
					if got := d.say("p", at.Add(time.Duration(k)*tenMinutes), tt.level); got != farm.NoDoubt {
						t.Fatalf("back at its level: %s", got)
					}
				}
				at = at.Add(time.Hour)
			}
		})
	}
}

// A bad contact gives any number at any time: none of the wild ones may pass,
// and no good one be lost.
func TestBadContact(t *testing.T) {
	d := newTester(lone(farm.Temperature, tenMinutes))
	at := d.calm("p", spring, 3, 20)
	rng := rand.New(rand.NewPCG(5, 5))
	missed, lost, wild := 0, 0, 0
	for range 5000 {
		v, good := coarse(20+0.1*rng.NormFloat64(), 0.0625), true
		if rng.IntN(3) > 0 {
			v, good = coarse(-30+100*rng.Float64(), 0.0625), false
			good = math.Abs(v-20) < 3
		}
		doubt := d.say("p", at, v)
		switch {
		case !good:
			wild++
			if doubt == farm.NoDoubt {
				missed++
			}
		case doubt != farm.NoDoubt && math.Abs(v-20) < 1:
			lost++
		}
		at = at.Add(tenMinutes)
	}
	if missed > wild/100 || lost > 0 {
		t.Errorf("%d of %d wild readings believed, %d good ones lost", missed, wild, lost)
	}
}
