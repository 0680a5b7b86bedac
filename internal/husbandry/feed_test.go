package husbandry_test

import (
	"math"
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
	if left := husbandry.FeedLeft(grain.Days, 30*activity); left < 0.3 {
		t.Errorf("after a month %v of the grain is left, want a good part", left)
	}
	due := husbandry.FeedDueIn(grain.Days, 0, activity)
	if due < 40 || due > 65 {
		t.Errorf("grain is due in %v days, want about two months less the last bit", due)
	}
	cool := husbandry.Activity(species(t, "red"), farm.CelsiusOf(50), 78)
	if later := husbandry.FeedDueIn(grain.Days, 0, cool); later < 2*due {
		t.Errorf("at 50 °F due in %v days, at 65 °F in %v: worms eat slower when cool", later, due)
	}
	near(t, "a full feed at 65 °F", husbandry.NextFeed(2, activity, 0, grain), 2, 1e-9)
	if small := husbandry.NextFeed(2, cool, 0, grain); small > 1.2 || small < 0.5 {
		t.Errorf("at 50 °F feed %v kg of a usual 2, want about half", small)
	}
}

// Ndegwa, Thompson & Das 2000, Bioresour Technol 71:5–12: 0.75 kg of feed per
// kg of worms and day.
func TestFeedCeiling(t *testing.T) {
	mash := farm.Feed{Kind: "mash", Days: 7}
	near(t, "few worms", husbandry.EatDays(mash, 15, 2), 10, 1e-9)
	near(t, "many worms", husbandry.EatDays(mash, 15, 20), 7, 0)
	near(t, "worms not known", husbandry.EatDays(mash, 15, 0), 7, 0)
	near(t, "next feed", husbandry.NextFeed(15, 1, 2, mash), 10.5, 1e-9)
}

func TestFeedLeftAndDue(t *testing.T) {
	near(t, "fresh", husbandry.FeedLeft(20, 0), 1, 0)
	near(t, "half", husbandry.FeedLeft(20, 10), 0.5, 1e-12)
	near(t, "gone", husbandry.FeedLeft(20, 50), 0, 0)
	near(t, "no pace", husbandry.FeedLeft(0, 1), 0, 0)
	near(t, "due now", husbandry.FeedDueIn(20, 18, 0.5), 0, 0)
	if due := husbandry.FeedDueIn(20, 1, 0); !math.IsInf(due, 1) {
		t.Errorf("at no activity due in %v, want never", due)
	}
	rapid.Check(t, func(t *rapid.T) {
		days := rapid.Float64Range(1, 100).Draw(t, "days")
		done := rapid.Float64Range(0, 100).Draw(t, "done")
		activity := rapid.Float64Range(0.05, 1).Draw(t, "activity")
		due := husbandry.FeedDueIn(days, done, activity)
		if left := husbandry.FeedLeft(days, done+due*activity); left > husbandry.NearlyEaten+1e-9 {
			t.Fatalf("when due, %v is left", left)
		}
	})
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
