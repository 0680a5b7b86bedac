package physics_test

import (
	"math"
	"testing"
	"time"

	"binwatchd/internal/physics"
)

func TestGaugeParts(t *testing.T) {
	d := physics.Dice(4)
	at := func(i int) time.Time { return noon.Add(time.Duration(i) * 10 * time.Minute) }
	tests := []struct {
		name            string
		gauge           physics.Gauge
		airC            float64
		mean, deviation float64
	}{
		{"perfect", physics.Gauge{Dice: d}, 30, 70, 0},
		{"biased", physics.Gauge{Dice: d, Bias: 2}, 18, 72, 0},
		{"wrong gain", physics.Gauge{Dice: d, Gain: 0.1, Pivot: 50}, 18, 72, 0},
		{"feels the air", physics.Gauge{Dice: d, PerK: 0.1}, 28, 71, 0},
		{"white", physics.Gauge{Dice: d, White: 1.5}, 18, 70, 1.5},
		{"wandering", physics.Gauge{Dice: d, Wander: 0.8, Drifts: 5 * time.Hour}, 18, 70, 0.8},
		{"loose contact", physics.Gauge{Dice: d, Contact: 0.8, Jumps: 5 * time.Hour}, 18, 70, 0.8},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			mean, deviation := moments(20000, func(i int) float64 { return tt.gauge.Read(at(i), 70, tt.airC) })
			near(t, "mean", mean, tt.mean, 0.1)
			near(t, "deviation", deviation, tt.deviation, 0.06)
		})
	}
}

// DS18B20 datasheet: steps of 1/16 °C.
func TestGaugeStep(t *testing.T) {
	g := physics.Gauge{Dice: 9, White: 0.3, Step: 0.0625}
	for i := range 500 {
		v := g.Read(noon.Add(time.Duration(i)*time.Minute), 18.3, 18)
		if n := v / 0.0625; n != math.Round(n) {
			t.Fatalf("got %v, not a whole number of sixteenths", v)
		}
	}
}

func TestCleanIsReadWithoutNoise(t *testing.T) {
	g := physics.Gauge{Dice: 9, Bias: -1.5, Gain: 0.04, Pivot: 60}
	near(t, "clean", g.Clean(40), g.Read(noon, 40, 18), 1e-12)
	near(t, "clean", g.Clean(40), 37.7, 1e-12)
}
