package acceptancetest_test

import (
	"cmp"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"binwatchd/internal/acceptancetest"
	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// A bed of each species in the ground of real loggers: soil never heats itself, and
// outside of harm a keeper hears of it once a week at most.
func TestRealGroundIsQuiet(t *testing.T) {
	t.Parallel()
	for _, logger := range acceptancetest.Loggers {
		for _, species := range []string{"red", "blue"}[:efforttest.Cases(1, 2)] {
			t.Run(logger+" "+species, func(t *testing.T) {
				g := ground(t, logger)
				changes, err := g.Rehearse(g.Bed(species))
				if err != nil {
					t.Fatal(err)
				}
				for _, ch := range changes {
					if ch.Condition == farm.Heating {
						t.Errorf("got %s %s at %s: %s", ch.Condition, ch.Change, ch.At, ch.Text)
					}
				}
				if mild := acceptancetest.Mild(changes); float64(len(mild)) > math.Ceil(g.Weeks()) {
					t.Errorf("got %d changes in %.0f weeks, want one a week at most: %+v", len(mild), g.Weeks(), mild)
				}
				if n := acceptancetest.Harm(changes); float64(n) > math.Ceil(g.Weeks()) {
					t.Errorf("got %d changes to harm and back in %.0f weeks", n, g.Weeks())
				}
				t.Logf("%d mild changes and %d about harm in %.0f weeks", len(acceptancetest.Mild(changes)), acceptancetest.Harm(changes), g.Weeks())
				atOnce(t, g, species, changes)
			})
		}
	}
}

// A limit wherever the soil's days may cross it: once in two weeks by the mean of all
// limits, and about once a week at the worst of them. Before the mean of the day was
// asked the worst had 138 changes in 25 weeks. GROUND_STEP=1 takes every degree.
func TestNoMildLimitFlapsInRealGround(t *testing.T) {
	t.Parallel()
	for _, logger := range acceptancetest.Loggers {
		t.Run(logger, func(t *testing.T) {
			g := ground(t, logger)
			var bands []farm.Band
			for c := 1.0; c <= 20; c += limitStep(t) {
				bands = append(bands, farm.Band{Low: c, High: 50}, farm.Band{Low: -30, High: c})
			}
			changes, err := g.Rehearse(g.Banded(bands...))
			if err != nil {
				t.Fatal(err)
			}
			by, all := map[string]int{}, 0
			for _, ch := range acceptancetest.Mild(changes) {
				by[ch.Bin]++
				all++
			}
			for bed, n := range by {
				if float64(n) > 1.1*math.Ceil(g.Weeks()) {
					t.Errorf("thriving at %s: %d changes in %.1f weeks", bed, n, g.Weeks())
				}
			}
			if perWeek := float64(all) / float64(len(bands)) / g.Weeks(); perWeek == 0 || perWeek > 0.5 {
				t.Errorf("got %.2f changes a zone and week, want some, and one in two weeks at most", perWeek)
			}
		})
	}
}

// atOnce holds that harm waits for no mean: where the soil has been past what worms
// survive for an hour and a half, the median and patience are behind it.
func atOnce(t *testing.T, g *acceptancetest.Ground, species string, changes []farm.Change) {
	t.Helper()
	if g.Logger == "b" { // it was not believed for a part of the time
		return
	}
	harm, run, at, now := bears(species).Survive.Low, 0, g.From, false
	for _, v := range g.Soil {
		for ; len(changes) > 0 && !changes[0].At.After(at); changes = changes[1:] {
			if changes[0].Condition == farm.TooCold {
				now = changes[0].Urgency == farm.Now && changes[0].Change != farm.Eased
			}
		}
		if run++; v >= harm {
			run = 0
		}
		if run > 6 && !now {
			t.Errorf("%s: %.1f °C for %d readings, and it is not told as urgent", at, v, run)
		}
		at = at.Add(15 * time.Minute)
	}
}

// The days on which the second logger stood out of the ground, by the rule of the
// package that it comes with, in its function for loggers off the soil: over a centred
// day the spread of the soil's temperature is more than 0.76085 of the surface's, and
// the least raw moisture less than 721.5.
func TestAProbeOutOfTheGroundIsDoubted(t *testing.T) {
	g := ground(t, "b")
	var out []time.Time
	for i := range g.Soil {
		from, to := max(0, i-48), min(len(g.Soil), i+48)
		if spread(g.Soil[from:to])/spread(g.Surface[from:to]) > 0.76085 && slices.Min(g.Raw[from:to]) < 721.5 {
			out = append(out, g.From.Add(time.Duration(i)*15*time.Minute))
		}
	}
	if len(out) < 96 {
		t.Fatalf("out of the ground for %d readings; the test shows nothing", len(out))
	}
	changes, err := g.Rehearse(g.Bed("red"))
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(changes, func(ch farm.Change) bool {
		after := ch.At.Sub(out[0])
		return ch.Condition == farm.Suspect && ch.Change == farm.Raised && after > -12*time.Hour && after < 24*time.Hour // the rule looks half a day ahead
	}) {
		t.Errorf("out of the ground since %s, and no probe is suspect within a day: %+v", out[0], changes)
	}
}

// spread is the standard deviation.
func spread(vs []float64) float64 {
	mean, sum := 0.0, 0.0
	for _, v := range vs {
		mean += v / float64(len(vs))
	}
	for _, v := range vs {
		sum += (v - mean) * (v - mean)
	}
	return math.Sqrt(sum / float64(len(vs)-1))
}

func ground(t *testing.T, logger string) *acceptancetest.Ground {
	t.Helper()
	g, err := acceptancetest.ReadGround(logger)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// bears is what a species bears of temperature.
func bears(species string) farm.Bands {
	all := husbandry.Species()
	return all[slices.IndexFunc(all, func(s farm.Species) bool { return s.ID == species })].Temperature
}

// limitStep is the °C between one limit and the next.
func limitStep(t *testing.T) float64 {
	t.Helper()
	step, err := strconv.ParseFloat(cmp.Or(os.Getenv("GROUND_STEP"), "6"), 64)
	if err != nil {
		t.Fatal(err)
	}
	return step
}
