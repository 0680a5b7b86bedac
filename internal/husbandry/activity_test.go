package husbandry_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// near fails unless got is within tol of want.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %v, want %v within %v", what, got, want, tol)
	}
}

func TestCTMI(t *testing.T) {
	manual := farm.Cardinal{Min: 5, Best: 20, Max: 30} // printed vector of the CRAN macrogrow manual
	red := farm.Cardinal{Min: 0, Best: 25, Max: 35}    // computed from Rosso, Lobry & Flandrois 1993, J Theor Biol 162:447–463
	cases := []struct {
		c        farm.Cardinal
		at, want float64
	}{
		{manual, 22, 0.9633333}, {manual, 10, 0.3333333}, {manual, 25, 0.7619048}, {manual, 29, 0.1969231},
		{manual, 5, 0}, {manual, 30, 0}, {manual, 20, 1}, {manual, -3, 0}, {manual, 40, 0},
		{red, 15, 0.6}, {red, 20, 0.8727}, {red, 30, 0.8},
		{farm.Cardinal{Min: 10, Best: 10, Max: 10}, 10, 0},
	}
	for _, c := range cases {
		near(t, "CTMI", husbandry.CTMI(c.at, c.c), c.want, 5e-5)
	}
	if got := husbandry.CTMI(math.NaN(), red); got != 0 {
		t.Errorf("NaN: got %v, want 0", got)
	}
}

func TestCTMIStaysBetweenNoughtAndOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := farm.Cardinal{Min: rapid.Float64Range(-10, 20).Draw(t, "min")}
		c.Max = c.Min + rapid.Float64Range(1, 40).Draw(t, "width")
		c.Best = rapid.Float64Range(c.Min, c.Max).Draw(t, "best")
		best := max(c.Best, (c.Min+c.Max)/2)
		a, b := rapid.Float64Range(-20, 70).Draw(t, "a"), rapid.Float64Range(-20, 70).Draw(t, "b")
		ra, rb := husbandry.CTMI(a, c), husbandry.CTMI(b, c)
		if !(ra >= 0 && ra <= 1) {
			t.Fatalf("CTMI(%v, %v) = %v", a, c, ra)
		}
		if a <= b && b <= best && ra > rb+1e-9 || best <= a && a <= b && ra < rb-1e-9 {
			t.Fatalf("not one hill: %v at %v, %v at %v, best %v", ra, a, rb, b, best)
		}
	})
}

// Common practice, no source: at 65 °F red and European worms work while blue
// rest; in the upper 80s °F blue take over.
func TestWordsOfAMixedBin(t *testing.T) {
	cases := []struct {
		fahrenheit          float64
		red, european, blue farm.Wellbeing
	}{
		{65, farm.Thriving, farm.Thriving, farm.Resting},
		{87, farm.Slowed, farm.Slowed, farm.Thriving},
		{45, farm.Resting, farm.Resting, farm.InDanger},
		{92, farm.InDanger, farm.InDanger, farm.Slowed},
		{59, farm.Thriving, farm.Thriving, farm.Resting}, // 15 °C: the end of the band is inside
	}
	for _, c := range cases {
		at := farm.CelsiusOf(c.fahrenheit)
		got := [3]farm.Wellbeing{}
		for i, id := range []string{"red", "european", "blue"} {
			got[i] = husbandry.Word(species(t, id), farm.Temperature, at)
		}
		if want := [3]farm.Wellbeing{c.red, c.european, c.blue}; got != want {
			t.Errorf("%v °F: got %v, want %v", c.fahrenheit, got, want)
		}
	}
	hot := farm.CelsiusOf(88)
	if blue, red := husbandry.Activity(species(t, "blue"), hot, 78), husbandry.Activity(species(t, "red"), hot, 78); blue <= red {
		t.Errorf("at 88 °F blue %v should be busier than red %v", blue, red)
	}
}

func TestMoistureFactor(t *testing.T) {
	red := species(t, "red") // thrives at 70–85, survives 60–90
	full := husbandry.Activity(red, 25, math.NaN())
	near(t, "unknown moisture", full, 1, 1e-9)
	for pct, want := range map[float64]float64{78: 1, 70: 1, 85: 1, 65: 0.75, 60: 0.5, 50: 0, 20: 0, 87.5: 0.75, 90: 0.5, 95: 0, 100: 0} {
		near(t, "activity at moisture", husbandry.Activity(red, 25, pct), want, 1e-9)
	}
	sharp := red
	sharp.Moisture.Survive = sharp.Moisture.Thrive
	near(t, "no room past thrive", husbandry.Activity(sharp, 25, 69), 0, 0)
}

func TestBinActivityWeighsByShare(t *testing.T) {
	f := &farm.Farm{Species: husbandry.Species()}
	b := bin("red", "blue")
	b.Species[0].Fraction, b.Species[1].Fraction = 0.7, 0.3
	red, blue := husbandry.Activity(species(t, "red"), 18, 78), husbandry.Activity(species(t, "blue"), 18, 78)
	near(t, "mixed", husbandry.BinActivity(f, b, 18, 78), 0.7*red+0.3*blue, 1e-12)
	near(t, "no species named", husbandry.BinActivity(f, bin(), 18, 78), red, 1e-12)
	near(t, "tub", husbandry.BinActivity(f, farm.Bin{}, 18, 78), 0, 0)
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
	s := species(t, "european")
	base := (71*15 - 42.1*25) / (71 - 42.1) // of the straight line of rate over temperature
	near(t, "base", s.Cocoon.BaseC, base, 1e-4)
	near(t, "degree-days", s.Cocoon.DegreeDays, 71*(15-base), 0.05)
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
}
