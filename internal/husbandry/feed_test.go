package husbandry_test

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

func TestFeedOf(t *testing.T) {
	f := &farm.Farm{Feeds: []farm.Feed{{Kind: "grain", Days: 60}, {Kind: "Spent hops", Days: 12}}}
	cases := []struct {
		kind  string
		days  float64
		known bool
	}{{"grain", 60, true}, {"Grain", 60, true}, {"spent hops", 12, true}, {"fruit", 10, true}, {"mystery", 21, false}, {"", 21, false}}
	for _, c := range cases {
		got, known := husbandry.FeedOf(f, c.kind)
		if got.Days != c.days || known != c.known {
			t.Errorf("%q: got %v days, known %v; want %v, %v", c.kind, got.Days, known, c.days, c.known)
		}
	}
}

// Common practice, no source: whole grain fed at 65 °F is still being eaten
// two months on, and a monthly feed then is not late.
func TestGrainAtSixtyFive(t *testing.T) {
	activity := husbandry.Activity(species(t, "red"), farm.CelsiusOf(65), 78)
	grain, _ := husbandry.FeedOf(&farm.Farm{}, "grain")
	meal := []husbandry.Meal{{Kg: 2, Days: grain.Days}}
	warm := husbandry.Eaters{Activity: activity, TempC: farm.CelsiusOf(65)}
	if left := meal[0].Left(warm.Eat(meal, 30)); left < 0.3 {
		t.Errorf("after a month %v of the grain is left, want a good part", left)
	}
	due := warm.DueIn(meal, 0)
	if due < 40 || due > 65 {
		t.Errorf("grain is due in %v days, want about two months less the last bit", due)
	}
	cool := husbandry.Activity(species(t, "red"), farm.CelsiusOf(50), 78)
	if later := (husbandry.Eaters{Activity: cool, TempC: farm.CelsiusOf(50)}).DueIn(meal, 0); later < 2*due {
		t.Errorf("at 50 °F due in %v days, at 65 °F in %v: worms eat slower when cool", later, due)
	}
	near(t, "a full feed at 65 °F", husbandry.NextFeed(2, activity, 0, grain), 2, 1e-9)
	if small := husbandry.NextFeed(2, cool, 0, grain); small > 1.2 || small < 0.5 {
		t.Errorf("at 50 °F feed %v kg of a usual 2, want about half", small)
	}
}

// Of plenty a kg of worms eats 25 to 50 % of its mass a day (Alabama extension) where
// red worms thrive, from 15 to 25 °C, and so less than the 0.75 kg that finely divided
// feed allows (Ndegwa, Thompson & Das 2000, Bioresour Technol 71:5–12).
func TestWhatWormsEatOfPlenty(t *testing.T) {
	for _, days := range []float64{7, 14, 60} { // of mash, scraps and grain
		plenty := []husbandry.Meal{{Kg: 1000, Days: days}}
		for tempC := 15.0; tempC <= 25; tempC++ {
			of := func(wormsKg float64) float64 {
				e := husbandry.Eaters{WormsKg: wormsKg, Activity: husbandry.Activity(species(t, "red"), tempC, 78), TempC: tempC}
				return 1000 * (1 - plenty[0].Left(e.Eat(plenty, 0.01))) / 0.01
			}
			if got := of(2) - of(1); got < 0.25 || got > 0.5 { // so that what rots is left out
				t.Errorf("%v °C, pace of %v days: a kg of worms eats %.3f kg a day", tempC, days, got)
			}
		}
	}
}

// Six days of a kilogram a day, 0.4 kg of worms: three weeks of work are no week's.
// By hand: at most 0.43 kg a day per kg of worms at full activity are 0.172 kg a day;
// what rots beside takes 0.07 of what a pace of 14 days has, 1.897/11.9 = 0.159 a day
// of what there is: 6 kg go to 0.9 kg in ln((6+15.4)/(0.9+15.4))/0.0112 = 24.4 days.
func TestFewWormsTakeLonger(t *testing.T) {
	scraps := func(kg float64) []husbandry.Meal { return []husbandry.Meal{{Kg: kg, Days: 14}} }
	of := func(wormsKg float64) husbandry.Eaters {
		return husbandry.Eaters{WormsKg: wormsKg, Activity: 1, TempC: 20}
	}
	near(t, "6 kg, 0.4 kg of worms", of(0.4).DueIn(scraps(6), 0), 24.4, 0.3)
	near(t, "not known how many: the pace of the table", of(0).DueIn(scraps(6), 0), 0.85*14, 1e-6)
	near(t, "their own mass and more, and they manage", of(6.0/1.5).DueIn(scraps(6), 0), 0.85*14, 4)
	// A trifle among very many: (0.6·ln(1/0.15) + 0.85·0.05)/1.6 of 1/0.159 days.
	near(t, "0.1 kg, 2 kg of worms", of(2).DueIn(scraps(0.1), 0), 4.62, 0.05)
	near(t, "amount not known", of(2).DueIn(scraps(0), 0), 0.85*14, 1e-6)
}

// Without a worm, in their frost or heat, only microbes are left: scraps halve in two
// months at 20 °C, in twice that at 10 °C, and not at all in frost. A choice, no source.
func TestFoodRotsWithoutWorms(t *testing.T) {
	scraps := []husbandry.Meal{{Kg: 1, Days: 14}}
	left := func(tempC, days float64) float64 {
		return scraps[0].Left(husbandry.Eaters{WormsKg: 1, TempC: tempC}.Eat(scraps, days))
	}
	near(t, "20 °C", left(20, 62.1), 0.5, 0.001)
	near(t, "10 °C", left(10, 124.2), 0.5, 0.001)
	near(t, "frost", left(-3, 500), 1, 0)
}

func TestLeft(t *testing.T) {
	near(t, "fresh", husbandry.Meal{Days: 20}.Left(0), 1, 0)
	near(t, "nearly eaten", husbandry.Meal{Days: 20, Eaten: 10}.Left(7), husbandry.NearlyEaten, 1e-12)
	near(t, "gone", husbandry.Meal{Days: 20, Eaten: 60}.Left(0), 0, 0)
	near(t, "no pace", husbandry.Meal{}.Left(1), 0, 0)
	near(t, "due now", husbandry.Eaters{Activity: 0.5}.DueIn([]husbandry.Meal{{Days: 20, Eaten: 18}}, 0), 0, 0)
	if due := (husbandry.Eaters{TempC: -1}).DueIn([]husbandry.Meal{{Days: 20}}, 0); !math.IsInf(due, 1) {
		t.Errorf("in frost due in %v, want never", due)
	}
}

// Laws of the due day, whatever lies in the bin: when it comes all together is nearly
// eaten and not before, or where nobody weighed no meal is more than that and one is just that; more food never brings it nearer, more worms
// never put it off, a meal in two halves is one meal.
func TestLawsOfTheDueDay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		meal := rapid.Custom(func(t *rapid.T) husbandry.Meal {
			days := rapid.Float64Range(3, 90).Draw(t, "days")
			return husbandry.Meal{
				Kg: rapid.SampledFrom([]float64{0, 0.05, 0.3, 1, 4}).Draw(t, "kg"), Days: days, Eaten: rapid.Float64Range(0, days).Draw(t, "eaten"),
			}
		})
		meals := rapid.SliceOfN(meal, 1, 6).Draw(t, "meals")
		e := husbandry.Eaters{
			WormsKg: rapid.Float64Range(0.1, 4).Draw(t, "worms"), Activity: rapid.Float64Range(0.05, 1).Draw(t, "activity"), TempC: rapid.Float64Range(3, 32).Draw(t, "temp"),
		}
		due := e.DueIn(meals, 0)
		most := func(days float64) (left float64) {
			gone := e.Eat(meals, days)
			for _, m := range meals {
				left = max(left, m.Left(gone))
			}
			return left
		}
		about := max(0.125, due/64) // days: the pace leaps where the last of a meal is gone, and is added up in steps
		if before, after := most(max(0, due-about)), most(due+about); due > 0 && (before < husbandry.NearlyEaten-1e-3 || after > husbandry.NearlyEaten+1e-3) {
			t.Fatalf("due in %v, before which %v is left, and after which %v", due, before, after)
		}
		lay := 0.0
		for _, m := range meals {
			if lay += m.Kg * rapid.Float64Range(0.2, 1).Draw(t, "lay"); m.Kg == 0 {
				lay = 0
				break
			}
		}
		eaten := func(days float64) bool { return husbandry.AllNearlyEaten(meals, e.Eat(meals, days), lay) }
		if together := e.DueIn(meals, lay); together > about && (eaten(together-about) || !eaten(together+about)) {
			t.Fatalf("all together due in %v; before %v, after %v", together, eaten(together-about), eaten(together+about))
		}
		slack := 1e-9 + 0.002*due // what is added up differs in its steps
		if more := e.DueIn(append(slices.Clone(meals), meal.Draw(t, "more")), 0); more < due-slack {
			t.Fatalf("due in %v, with more food in %v", due, more)
		}
		many := e
		many.WormsKg *= rapid.Float64Range(1, 5).Draw(t, "many")
		if sooner := many.DueIn(meals, 0); sooner > due+slack {
			t.Fatalf("due in %v, with more worms in %v", due, sooner)
		}
		half := meals[0]
		half.Kg /= 2
		if split := e.DueIn(append(slices.Clone(meals[1:]), half, half), 0); math.Abs(split-due) > slack {
			t.Fatalf("due in %v, split in %v", due, split)
		}
	})
}

func TestBeddingIsNoFood(t *testing.T) {
	for _, kind := range []string{"cardboard", "Torn cardboard", "shredded paper", "leaves", "dry leaves", "straw", "wood chips", "sawdust", "egg cartons", "coconut coir"} {
		if !husbandry.IsBedding(kind) {
			t.Errorf("%q counts as food", kind)
		}
	}
	for _, kind := range []string{"", "grain", "cabbage leaves", "tea leaves", "dry", "old bread", "scraps", "egg shells", "potato chips"} {
		if husbandry.IsBedding(kind) {
			t.Errorf("%q counts as bedding", kind)
		}
	}
}

func TestPaceLearner(t *testing.T) {
	var l husbandry.PaceLearner
	near(t, "nothing learned", l.Pace(40), 40, 0)
	if l.Finish(5, 40) || l.Finish(400, 40) {
		t.Error("a jot ten times off taught something")
	}
	for range 4 {
		if !l.Finish(60, 40) {
			t.Fatal("an honest jot taught nothing")
		}
	}
	near(t, "four sightings and the table", l.Pace(40), 56, 1e-9)
	for range 9 {
		l.Finish(30, 40)
	}
	if len(l.Days) != 5 {
		t.Errorf("remembers %d, want 5", len(l.Days))
	}
	near(t, "old ones leave", l.Pace(40), (40+5*30)/6.0, 1e-9)
}
