package physics_test

import (
	"testing"

	"binwatchd/internal/physics"
)

// FAO-56 (Allen et al. 1998), example 3: 24.5 and 15 °C give 3.075 and
// 1.705 kPa, their mean 2.39.
func TestSaturationKPa(t *testing.T) {
	high, low := physics.SaturationKPa(24.5), physics.SaturationKPa(15)
	near(t, "24.5 °C", high, 3.075, 0.001)
	near(t, "15 °C", low, 1.705, 0.001)
	near(t, "mean", (high+low)/2, 2.39, 0.005)
}

func TestActivityRisesFromNoneToFree(t *testing.T) {
	last := physics.Activity(0)
	if last != 0 {
		t.Errorf("dry matter: got %g, want 0", last)
	}
	for r := 0.01; r < 5; r += 0.01 {
		a := physics.Activity(r)
		if a <= last || a >= 1 {
			t.Fatalf("ratio %.2f: got %g after %g, want rising below 1", r, a, last)
		}
		last = a
	}
	near(t, "a worm's bed at 75 %", physics.Activity(3), 1, 0.001)
}

// Definition of wet and dry basis; 50 % wet is 100 % dry.
func TestRatioAndPercent(t *testing.T) {
	near(t, "50 %", physics.Ratio(50), 1, 1e-12)
	near(t, "77 %", physics.Ratio(77), 77.0/23, 1e-12)
	for m := 1.0; m < 99; m++ {
		near(t, "there and back", physics.Percent(physics.Ratio(m)), m, 1e-9)
	}
}
