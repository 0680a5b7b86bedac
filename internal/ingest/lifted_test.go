package ingest_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// A probe lifted out takes the room's temperature within minutes (time
// constant about 4 minutes in still air; common practice, no source), lies
// there and is put back.
func TestProbeLiftedOut(t *testing.T) {
	cases := []struct {
		name      string
		every     time.Duration
		bin, room float64
		out       time.Duration
		air       bool // the room's air is measured
		late      int  // readings that may pass before it shows
	}{
		{"for an hour", tenMinutes, 21, 14, time.Hour, false, 0},
		{"into a warm room", tenMinutes, 18, 27, 90 * time.Minute, false, 0},
		{"half a day, with the air known", tenMinutes, 21, 14, 12 * time.Hour, true, 0},
		{"an evening in the frost", tenMinutes, 16, -2, 5 * time.Hour, false, 0},
		{"a probe that speaks every minute", time.Minute, 21, 12, time.Hour, true, 1},
		{"a probe that speaks every ten seconds", 10 * time.Second, 21, 12, time.Hour, true, 30},
		{"a probe that speaks every hour", time.Hour, 21, 9, 5 * time.Hour, true, 0},
	}
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			d := newTester(nursery(tt.every))
			at := spring
			say := func(v float64) farm.Doubt {
				if tt.air {
					d.say("air", at, tt.room)
				}
				doubt := d.say("bed-top", at, coarse(v, 0.0625))
				at = at.Add(tt.every)
				return doubt
			}
			for at.Sub(spring) < 48*time.Hour {
				say(tt.bin + 0.3*math.Sin(at.Sub(spring).Hours()/24*2*math.Pi))
			}
			d.none(t)
			lifted, passed := at, 0
			for at.Sub(lifted) < tt.out {
				after := at.Sub(lifted) + tt.every/2
				if say(tt.room+(tt.bin-tt.room)*math.Exp(-after.Minutes()/4)) == farm.NoDoubt {
					passed++
				}
			}
			if passed > tt.late {
				t.Errorf("%d readings from outside believed, want at most %d", passed, tt.late)
			}
			for range 5 {
				if got := say(tt.bin); got != farm.NoDoubt {
					t.Errorf("back in the bin: %s", got)
				}
			}
		})
	}
}

func TestMoistureProbeLiftedOut(t *testing.T) {
	for _, noise := range []float64{0, 1.5} {
		t.Run(fmt.Sprintf("noise %v", noise), func(t *testing.T) {
			d := newTester(lone(farm.Moisture, tenMinutes))
			at := spring
			jitter := 1.0
			say := func(v float64) farm.Doubt {
				jitter = -jitter
				doubt := d.say("p", at, v+noise*jitter)
				at = at.Add(tenMinutes)
				return doubt
			}
			for range 400 {
				say(72)
			}
			d.none(t)
			for range 6 * 48 {
				if got := say(3); got != farm.TooFast {
					t.Fatalf("%s after it was lifted out: %q", at, got)
				}
			}
			for range 5 {
				if got := say(71); got != farm.NoDoubt {
					t.Errorf("back in the bin: %s", got)
				}
			}
		})
	}
}

// A step that is real is believed when it has lasted: sooner where the keeper
// jotted the work. A moisture's fall that no bin makes is believed with a jot
// alone; see TestAFallThatNoBinMakes.
func TestRealStepsAreBelievedInTheEnd(t *testing.T) {
	cases := []struct {
		name     string
		quantity farm.Quantity
		from, to float64
		jot      farm.JotKind
		within   time.Duration
	}{
		{"cold water", farm.Temperature, 22, 19, "", 30 * time.Minute},
		{"turning brings up the hot core", farm.Temperature, 24, 36, farm.Turned, time.Hour},
		{"the same without a jot", farm.Temperature, 24, 36, "", 7 * time.Hour},
		{"dry bedding mixed in", farm.Moisture, 84, 66, farm.Bedded, time.Hour},
		{"watering", farm.Moisture, 60, 82, "", 20 * time.Minute},
	}
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			d := newTester(lone(tt.quantity, tenMinutes))
			at := d.calm("p", spring, 3, tt.from)
			if tt.jot != "" {
				d.Jotted(farm.Jot{At: at, Bin: "bin", Zone: "all", What: tt.jot})
			}
			start := at
			for d.say("p", at, tt.to) != farm.NoDoubt {
				if at = at.Add(tenMinutes); at.Sub(start) > tt.within {
					t.Fatalf("not believed after %s", at.Sub(start))
				}
			}
			d.doubted = nil
			for range 10 {
				at = at.Add(tenMinutes)
				d.say("p", at, tt.to)
			}
			d.none(t)
		})
	}
}

// A first number that was junk must not put off the honest ones after it.
func TestJunkAtTheStartIsSoonForgotten(t *testing.T) {
	d := newTester(lone(farm.Temperature, tenMinutes))
	d.say("p", spring, 61)
	for k := 1; k <= 10; k++ {
		d.say("p", spring.Add(time.Duration(k)*tenMinutes), 20)
	}
	if len(d.doubted) > 2 {
		t.Errorf("%d doubts of honest readings after one junk reading", len(d.doubted))
	}
}

// A fresh feed heats a bed by up to 3 K an hour; spring sun behind glass warms
// its top by 10.
func TestHonestHeatIsBelieved(t *testing.T) {
	for _, perHour := range []float64{1.5, 3, 10} {
		d := newTester(lone(farm.Temperature, tenMinutes))
		at := d.calm("p", spring, 4, 20)
		for v := 20.0; v < 45; v += perHour / 6 {
			d.say("p", at, coarse(v, 0.0625))
			at = at.Add(tenMinutes)
		}
		for v := 45.0; v > 20; v -= perHour / 6 {
			d.say("p", at, coarse(v, 0.0625))
			at = at.Add(tenMinutes)
		}
		d.none(t)
	}
}
