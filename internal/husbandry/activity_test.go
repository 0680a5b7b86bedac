package husbandry_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

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
		got := [3]farm.Wellbeing{husbandry.Word(species(t, "red"), at), husbandry.Word(species(t, "european"), at), husbandry.Word(species(t, "blue"), at)}
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
