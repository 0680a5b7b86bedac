package husbandry_test

import (
	"math"
	"testing"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

func TestRates(t *testing.T) {
	// Computed with E = 0.25 eV (Meehan 2006, in Johnston et al. 2014).
	near(t, "Arrhenius 15 to 25 °C", husbandry.Arrhenius(0.25, 15, 25), 1.4017, 5e-5)
	near(t, "Q10 over 5 K", husbandry.Q10(2, 15, 3, 20), 2.25, 1e-12)
	near(t, "Q10 of that Arrhenius", husbandry.Q10(1, 15, husbandry.Arrhenius(0.25, 15, 25), 25), 1.4017, 5e-5)
	near(t, "degree-days, UC IPM: mean 64 °F, base 53", husbandry.DegreeDays(64, 53), 11, 0)
	near(t, "below the base", husbandry.DegreeDays(50, 53), 0, 0)
}

// Butt 1997, Pedobiologia 41:369–374: cocoons of Allolobophora chlorotica took
// 90, 51 and 40 days at 10, 15 and 20 °C; the fitted line was computed.
func TestRateSummationOnChlorotica(t *testing.T) {
	s := farm.Species{
		Temperature: farm.Bands{Thrive: band(10, 20), Survive: band(0, 30)},
		Cardinal:    farm.Cardinal{Best: 20},
		Cocoon:      farm.Cocoon{BaseC: 1.6275, DegreeDays: 720},
	}
	for tempC, fitted := range map[float64]float64{10: 86.0, 15: 53.8, 20: 39.2} {
		near(t, "fitted", husbandry.HatchDueIn(s, 0, tempC), fitted, 0.06)
	}
	for tempC, published := range map[float64]float64{10: 90, 15: 51, 20: 40} {
		near(t, "published", husbandry.HatchDueIn(s, 0, tempC), published, 0.06*published)
	}
}

// D. veneta, 71 d at 15 °C (Viljoen et al. 1992) and 42.1 d at 25 °C (Viljoen,
// Reinecke & Hartman 1991): base and sums computed.
func TestRateSummationOnVeneta(t *testing.T) {
	c, ok := husbandry.CocoonOf(71, 15, 42.1, 25)
	if !ok {
		t.Fatal("no line through two sound times")
	}
	near(t, "base", c.BaseC, 0.4325, 1e-4)
	near(t, "degree-days", c.DegreeDays, 1034.3, 0.05)
	if swapped, _ := husbandry.CocoonOf(42.1, 25, 71, 15); swapped != c {
		t.Errorf("order matters: %v, %v", swapped, c)
	}
	s := species(t, "european")
	near(t, "12 h at each", 1/((husbandry.HatchRate(s, 15)+husbandry.HatchRate(s, 25))/2), 52.86, 0.01)
	part := 10 * husbandry.HatchRate(s, 15)
	near(t, "10 d at 15 then 25 °C", 10+husbandry.HatchDueIn(s, part, 25), 46.17, 0.01)
}

func TestHatchingLimits(t *testing.T) {
	s := species(t, "red")
	near(t, "too cold", husbandry.HatchRate(s, 2), 0, 0)
	near(t, "no faster above thrive", husbandry.HatchRate(s, 31), husbandry.HatchRate(s, 25), 0)
	near(t, "past survive", husbandry.HatchRate(s, 33), 0, 0)
	near(t, "NaN", husbandry.HatchRate(s, math.NaN()), 0, 0)
	near(t, "due", husbandry.HatchDueIn(s, 1.2, 20), 0, 0)
	near(t, "a species without figures", husbandry.HatchRate(farm.Species{}, 20), 0, 0)
	if d := husbandry.HatchDueIn(s, 0, 0); !math.IsInf(d, 1) {
		t.Errorf("in the cold due in %v days, want never", d)
	}
	for _, bad := range [][4]float64{{40, 15, 50, 25}, {40, 15, 30, 15}, {40, 15, 0, 25}} {
		if c, ok := husbandry.CocoonOf(bad[0], bad[1], bad[2], bad[3]); ok {
			t.Errorf("%v gives %v, want no line", bad, c)
		}
	}
}

// Computed from Newton's law: 20 °C room, 32 °C start, 0.1 per hour.
func TestCooling(t *testing.T) {
	near(t, "5 h", husbandry.Cooled(32, 20, 0.1, 5), 27.2784, 5e-5)
	near(t, "10 h", husbandry.Cooled(32, 20, 0.1, 10), 24.4146, 5e-5)
	h, ok := husbandry.CooledIn(32, 20, 0.1, 25)
	near(t, "to 25 °C", h, 8.7547, 5e-5)
	if !ok {
		t.Error("it does reach 25 °C")
	}
	for _, to := range []float64{20, 15, 33} {
		if h, ok := husbandry.CooledIn(32, 20, 0.1, to); ok {
			t.Errorf("to %v °C in %v h, want never", to, h)
		}
	}
}

// FAO-56, Allen et al. 1998: examples 3, 5 and 6.
func TestVapour(t *testing.T) {
	near(t, "example 3", husbandry.MeanSaturationVapour(24.5, 15), 2.39, 0.005)
	near(t, "example 5", husbandry.ActualVapour(25, 18, 82, 54), 1.70, 0.005)
	near(t, "example 6", husbandry.VapourDeficit(25, 18, 82, 54), 0.91, 0.006)
}

func TestProbes(t *testing.T) {
	// Computed from Topp, Davis & Annan 1980 eq. 7, whose linear term is 2.92e-2.
	for eps, want := range map[float64]float64{5: .07979, 10: .18830, 20: .34540, 40: .51020} {
		near(t, "Topp", husbandry.Topp(eps), want, 1e-5)
	}
	// Computed from Malicki, Plagge & Roth 1996 eq. 10.
	near(t, "Malicki 20, 0.5", husbandry.Malicki(20, 0.5), .45482, 5e-6)
	near(t, "Malicki 10, 0.3", husbandry.Malicki(10, 0.3), .30284, 5e-6)
	near(t, "1/V", husbandry.InverseVoltage(1.80, 2.80, .05, 1.20, .45), .21667, 5e-6) // computed
	near(t, "NTC 20 k", husbandry.NTCBeta(20e3, 10e3, 3950), 10.177, 5e-4)             // computed
	near(t, "NTC 5 k", husbandry.NTCBeta(5e3, 10e3, 3950), 41.460, 5e-4)               // computed
	near(t, "NTC at its own point", husbandry.NTCBeta(10e3, 10e3, 3950), 25, 1e-9)
}

func TestSteinhartHart(t *testing.T) {
	points := [3]husbandry.Resistance{{Ohms: 25000, TempC: 5}, {Ohms: 10000, TempC: 25}, {Ohms: 4000, TempC: 45}}
	s, err := husbandry.SteinhartHartThrough(points)
	if err != nil {
		t.Fatal(err)
	}
	// computed
	near(t, "A", s.A, 2.108508e-3, 5e-10)
	near(t, "B", s.B, 7.97920e-5, 5e-10)
	near(t, "C", s.C, 6.53508e-7, 5e-12)
	for _, p := range points {
		near(t, "back through the point", s.TempC(p.Ohms), p.TempC, 1e-9)
	}
	for name, bad := range map[string][3]husbandry.Resistance{
		"zero":  {{Ohms: 0, TempC: 5}, points[1], points[2]},
		"twice": {points[0], points[0], points[2]},
	} {
		if _, err := husbandry.SteinhartHartThrough(bad); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
