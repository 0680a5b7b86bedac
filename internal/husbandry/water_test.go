package husbandry_test

import (
	"testing"

	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

func TestMoistureBases(t *testing.T) {
	// Cornell compost moisture page: 10 g dried to 2.3 g is 77 % wet basis.
	near(t, "Cornell", husbandry.WetBasis((10-2.3)/2.3), 77, 1e-9)
	// Computed: 263.4 wet + tin, 221.8 dry + tin, 21.7 tin; ASTM D2216 states
	// dry basis, TMECC 03.09-A wet basis (both from memory).
	db := (263.4 - 221.8) / (221.8 - 21.7)
	near(t, "dry basis", 100*db, 20.79, 0.005)
	near(t, "wet basis", husbandry.WetBasis(db), 17.21, 0.005)
	near(t, "back", 100*husbandry.DryBasis(husbandry.WetBasis(db)), 20.79, 0.005)
	near(t, "as wet as can be", husbandry.DryBasis(100), 99, 1e-9)
	near(t, "below nothing", husbandry.DryBasis(-4), 0, 0)
	near(t, "negative water", husbandry.WetBasis(-1), 0, 0)
}

func TestWaterToAdd(t *testing.T) {
	dry := func(fresh, pct float64) float64 { return fresh * (1 - pct/100) }
	cases := []struct {
		name                string
		fresh, from, to, kg float64
	}{ // computed from W = m(Mt−M)/(1−Mt)
		{"10 kg 55 to 70 %", 10, 55, 70, 5},
		{"100 lb 40 to 60 %", 100, 40, 60, 50},
		{"25 kg 60 to 75 %", 25, 60, 75, 15},
		{"10 kg 70 to 45 %: to lose", 10, 70, 45, -4.5455},
	}
	for _, c := range cases {
		near(t, c.name, husbandry.WaterToAdd(dry(c.fresh, c.from), c.from, c.to), c.kg, 5e-5)
	}
}

// Cornell's example: 10 kg at 77 % with leaves at 35 % to reach 60 %: 6.8 kg.
func TestBeddingToAdd(t *testing.T) {
	kg, ok := husbandry.BeddingToAdd(10, 77, 35, 60)
	near(t, "leaves", kg, 6.8, 1e-9)
	if !ok {
		t.Error("leaves at 35 % do dry a heap at 77 %")
	}
	if kg, ok := husbandry.BeddingToAdd(10, 77, 60, 60); ok || kg != 0 {
		t.Errorf("bedding as wet as the aim: got %v, %v", kg, ok)
	}
	if kg, ok := husbandry.BeddingToAdd(10, 55, 10, 60); !ok || kg != 0 {
		t.Errorf("nothing too wet: got %v, %v", kg, ok)
	}
}

// mixture is the moisture of two parts mixed, kg and % of fresh mass each:
// G = ΣQM/ΣQ, Cornell compost mixture formula.
func mixture(kg1, pct1, kg2, pct2 float64) float64 { return (kg1*pct1 + kg2*pct2) / (kg1 + kg2) }

// Laws: a dose conserves mass; the careful amount never passes the plain one,
// nor what is taken up at once.
func TestDosesConserveMass(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		dry := rapid.Float64Range(0.1, 200).Draw(t, "dry kg")
		from := rapid.Float64Range(5, 95).Draw(t, "from")
		to := rapid.Float64Range(5, 95).Draw(t, "to")
		plain := husbandry.WaterToAdd(dry, from, to)
		after := mixture(husbandry.WetMass(dry, from), from, plain, 100)
		if d := after - to; d > 1e-6 || d < -1e-6 {
			t.Fatalf("%v kg dry from %v to %v %%: reached %v", dry, from, to, after)
		}
		most := husbandry.MostAtOnce(dry, rapid.Float64Range(30, 80).Draw(t, "dry end"))
		visit := husbandry.VisitWater(dry, from, to, rapid.Float64Range(0, 10).Draw(t, "probe error"), most)
		if visit < 0 || visit > max(plain, 0)+1e-9 || visit > most {
			t.Fatalf("visit %v L, plain %v L, at most %v L", visit, plain, most)
		}
	})
}

func TestBeddingReachesTheAim(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		to := rapid.Float64Range(20, 85).Draw(t, "to")
		from := rapid.Float64Range(to, 95).Draw(t, "from")
		bedding := rapid.Float64Range(0, to-1).Draw(t, "bedding")
		kg, ok := husbandry.BeddingToAdd(12, from, bedding, to)
		got := mixture(12, from, kg, bedding)
		if !ok || got-to > 1e-6 || to-got > 1e-6 {
			t.Fatalf("%v kg of bedding gives %v %%, want %v", kg, got, to)
		}
	})
}

func TestVisitWater(t *testing.T) {
	near(t, "wet enough", husbandry.VisitWater(10, 80, 75, 5, 100), 0, 0)
	// 20 kg dry at 70 % hold 46.7 L; to 71 % want 2.30 L; a probe 5 points off says
	// it may be wet enough already: half the plain estimate.
	near(t, "within the probe's error", husbandry.VisitWater(20, 70, 71, 5, 100), husbandry.WaterToAdd(20, 70, 71)/2, 1e-9)
	near(t, "a tenth of what is held at the dry end", husbandry.MostAtOnce(20, 70), 20*7.0/3/10, 1e-9)
	near(t, "far too dry: as much as is taken up at once", husbandry.VisitWater(20, 40, 77, 5, 4), 4, 0)
}

func TestPlanWater(t *testing.T) {
	for _, tt := range []struct {
		name                          string
		dose, visit, most, loss, days float64
		want                          husbandry.WaterPlan
	}{
		{"nothing wanted", 0, 0, 1, 0.2, 7, husbandry.WaterPlan{}},
		{"it does not dry", 5, 1, 2, 0, 7, husbandry.WaterPlan{VisitL: 1}},
		{"it gains water", 5, 1, 2, -0.3, 7, husbandry.WaterPlan{VisitL: 1}},
		{"a visit brings more than a week loses", 5, 1, 2, 0.05, 7, husbandry.WaterPlan{VisitL: 1}},
		{"a week loses more than the careful amount, and all is wanted", 1.75, 1, 2, 0.25, 7, husbandry.WaterPlan{VisitL: 1.75}},
		{"and much more is wanted", 5, 1, 2, 0.25, 7, husbandry.WaterPlan{VisitL: 1.75, EveryDays: 4, Visits: 7}},
		{"and more than is taken up: half stays", 5, 1, 2, 0.5, 7, husbandry.WaterPlan{VisitL: 2, EveryDays: 2, Visits: 5}},
		{"little stays", 100, 1, 2, 0.5, 7, husbandry.WaterPlan{VisitL: 2, EveryDays: 2}},
		{"faster than anything helps", 5, 1, 2, 3, 7, husbandry.WaterPlan{VisitL: 2, EveryDays: 1}},
		{"a week counts, however often the keeper comes", 5, 1, 2, 0.5, 2, husbandry.WaterPlan{VisitL: 1, EveryDays: 1, Visits: 10}},
		{"little wanted, to keep up", 0.75, 0.375, 2, 0.25, 7, husbandry.WaterPlan{VisitL: 0.75, EveryDays: 3}},
	} {
		if got := husbandry.PlanWater(tt.dose, tt.visit, tt.most, tt.loss, tt.days); got != tt.want {
			t.Errorf("%s: got %+v, want %+v", tt.name, got, tt.want)
		}
	}
}

// Laws: a visit covers what is lost until the next one, or it is said how
// often; the drier, the more in all and the more at a visit; the more stuff,
// the more of both.
func TestDrierNeverMeansLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(30, 75).Draw(t, "dry end")
		aim := low + rapid.Float64Range(1, 10).Draw(t, "half the band")
		loss := rapid.Float64Range(-0.05, 0.3).Draw(t, "kg/kg lost a day")
		days := rapid.Float64Range(1, 14).Draw(t, "days between visits")
		plan := func(kg, pct float64) (float64, husbandry.WaterPlan) {
			most := husbandry.MostAtOnce(kg, low)
			dose := max(0, husbandry.WaterToAdd(kg, pct, aim))
			return dose, husbandry.PlanWater(dose, husbandry.VisitWater(kg, pct, aim, 4, most), most, loss*kg, days)
		}
		kg := rapid.Float64Range(0.2, 100).Draw(t, "dry kg")
		wetter := rapid.Float64Range(5, 90).Draw(t, "wetter")
		drier := rapid.Float64Range(2, wetter).Draw(t, "drier")
		dose, p := plan(kg, drier)
		const tiny = 1e-9
		if dose > 0 && p.EveryDays == 0 && p.VisitL < loss*kg*days-tiny {
			t.Fatalf("%+v loses %v L until the next visit, and says nothing of it", p, loss*kg*days)
		}
		if p.EveryDays > 1 && p.VisitL < loss*kg*float64(p.EveryDays)-tiny {
			t.Fatalf("%+v gives less than is lost meanwhile", p)
		}
		if d, w := plan(kg, wetter); d > dose+tiny || w.VisitL > p.VisitL+tiny {
			t.Fatalf("at %v %%: %v L, %+v; at %v %% only %v L, %+v", wetter, d, w, drier, dose, p)
		}
		if d, m := plan(1.5*kg, drier); d < dose-tiny || m.VisitL < p.VisitL-tiny {
			t.Fatalf("with half as much again: %v L, %+v after %v L, %+v", d, m, dose, p)
		}
	})
}

// Common practice, no source: a gallon of water over two or three weeks is an
// ordinary dose for the working half of a 55-gallon barrel on its side; about
// three quarters of a gallon freshens a 20-gallon tub just topped up with dry
// siftings.
func TestDosesOfTheTrade(t *testing.T) {
	const gallon = 3.785411784
	barrel := husbandry.GuessDry(farm.Living, 55*gallon/2)
	got := husbandry.WaterToAdd(barrel.Kg, 75.5, 77.5)
	if got < 0.7*gallon || got > 2*gallon {
		t.Errorf("barrel: %.2f gallons for two points, want about one", got/gallon)
	}
	tub := husbandry.GuessDry(farm.Keeping, 20*gallon)
	got = husbandry.VisitWater(tub.Kg, 43, 47.5, 5, husbandry.MostAtOnce(tub.Kg, 40))
	if got < 0.4*gallon || got > 1.1*gallon {
		t.Errorf("tub: %.2f gallons at a visit, want about three quarters", got/gallon)
	}
}

// A range holds its middle, is wider where less is known, and lies higher the
// drier it is.
func TestRangesOfDoses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		told := husbandry.DryMass(farm.Zone{Aim: farm.Living, DryMassKg: 18}, 0)
		guess := husbandry.GuessDry(farm.Living, 100)
		pct := rapid.Float64Range(30, 76).Draw(t, "pct")
		errPts := rapid.Float64Range(0, 4).Draw(t, "error")
		low, high := husbandry.WaterRange(guess, pct, 77.5, errPts)
		plain := husbandry.WaterToAdd(guess.Kg, pct, 77.5)
		if !(0 < low && low <= plain && plain <= high) {
			t.Fatalf("%.3f to %.3f L about %.3f L", low, high, plain)
		}
		if l, h := husbandry.WaterRange(told, pct, 77.5, errPts); h-l > high-low+1e-9 {
			t.Fatalf("told: %.3f to %.3f L; guessed: %.3f to %.3f L", l, h, low, high)
		}
		if l, h := husbandry.WaterRange(guess, pct-1, 77.5, errPts); l < low-1e-9 || h < high-1e-9 {
			t.Fatalf("a point drier: %.3f to %.3f L after %.3f to %.3f L", l, h, low, high)
		}
		wet := rapid.Float64Range(79, 95).Draw(t, "wet")
		kg, _ := husbandry.BeddingToAdd(husbandry.WetMass(told.Kg, wet), wet, 10, 77.5)
		if l, h := husbandry.BeddingRange(told, wet, 10, 77.5, errPts); !(0 < l && l <= kg && kg <= h) {
			t.Fatalf("bedding: %.3f to %.3f kg about %.3f kg", l, h, kg)
		}
	})
	if l, h := husbandry.WaterRange(husbandry.GuessDry(farm.Living, 100), 80, 77.5, 2); l != 0 || h != 0 {
		t.Errorf("moist enough: got %v to %v L", l, h)
	}
}
