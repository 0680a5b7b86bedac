package acceptancetest_test

import (
	"os"
	"strconv"
	"testing"

	"binwatchd/internal/acceptancetest"
	"binwatchd/internal/efforttest"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/scenariotest"
)

// soakSeed begins the seeds that the tests look at. Figures were chosen on them and on
// those from 5000 on; `make bench` takes others, which were held out.
const soakSeed = 1

// A dose is held to what a bin truly wants, in bins of their own physics. SOAK_CASES asks
// for more than the few that fit into a test, SOAK_SEED for others.
func TestDosesAreWhatTheBinsWant(t *testing.T) {
	n, seed, more := efforttest.Cases(3, 6), uint64(soakSeed), false
	if asked, err := strconv.Atoi(os.Getenv("SOAK_CASES")); err == nil {
		n, more = asked, true
	}
	if other, err := strconv.ParseUint(os.Getenv("SOAK_SEED"), 10, 64); err == nil {
		seed = other
	}
	scores := map[float64]acceptancetest.DoseScore{}
	for _, told := range []float64{0, 1, 1.6, 1 / 1.6} {
		s := acceptancetest.Soak(scenariotest.Soakings(n, seed, told, start))
		scores[told] = s
		t.Logf("told %.2f of the truth: of %d bins said to hold something else by the fourth watering: %d, ever: %d", told, s.Bins, s.Within, s.Spoke)
		for _, from := range []string{husbandry.Guess, husbandry.Learned, husbandry.Told} {
			if d := s.By[from]; len(d.Ratios) > 0 {
				t.Logf("  by a mass %s, %d doses: dose ÷ need %.2f %.2f %.2f, range held %.0f %%, %d began with no more than was wanted",
					from, len(d.Ratios), d.Quantile(0.1), d.Quantile(0.5), d.Quantile(0.9), 100*d.Holds(), d.Began)
				if d.Began < len(d.Ratios) {
					t.Errorf("%d of %d began with more than was wanted", len(d.Ratios)-d.Began, len(d.Ratios))
				}
			}
		}
	}
	if right := scores[1]; right.Spoke > right.Bins/15 {
		t.Errorf("said wrongly of %d of %d bins that they hold something else than was told", right.Spoke, right.Bins)
	}
	if !more {
		return
	}
	for told, from := range map[float64]string{0: husbandry.Guess, 1: husbandry.Told} {
		d := scores[told].By[from]
		if mid := d.Quantile(0.5); mid < 0.9 || mid > 1.1 || d.Holds() < 0.72 || d.Holds() > 0.88 {
			t.Errorf("%s: the middle dose is %.2f of the need and %.0f %% of needs are in the range", from, mid, 100*d.Holds())
		}
	}
	learned := scores[0].By[husbandry.Learned]
	if mid := learned.Quantile(0.5); mid < 0.88 || mid > 1.12 || learned.Holds() < 0.7 {
		t.Errorf("learned: the middle dose is %.2f of the need and %.0f %% of needs are in the range", mid, 100*learned.Holds())
	}
	for _, told := range []float64{1.6, 1 / 1.6} {
		s, learned := scores[told], scores[told].By[husbandry.Learned]
		if mid := learned.Quantile(0.5); s.Within < s.Bins/2 || mid < 0.8 || mid > 1.25 || learned.Holds() < 0.7 {
			t.Errorf("told %.2f of the truth: of %d bins %d were found out by the fourth watering; then the middle dose is %.2f of the need and %.0f %% of needs are in the range",
				told, s.Bins, s.Within, mid, 100*learned.Holds())
		}
	}
}
