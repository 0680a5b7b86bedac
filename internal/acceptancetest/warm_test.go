package acceptancetest_test

import (
	"os"
	"strconv"
	"testing"

	"binwatchd/internal/acceptancetest"
	"binwatchd/internal/efforttest"
	"binwatchd/internal/scenariotest"
)

// warmSeed begins the seeds that the tests look at; others were held out while
// the thresholds were chosen, and `make bench` takes others again.
const warmSeed = 7000

// Sun, heaters, a heat wave, a lamp, a mat: what warms a bin from outside is
// not told as its own heat, whether it was fed or not. WARM_CASES asks for more
// of each kind than the few that fit into a test, WARM_SEED for others.
func TestWhatWarmsABinFromOutsideIsNotItsOwnHeat(t *testing.T) {
	t.Parallel()
	n, seed, more := warmAsked(t)
	var quiet, fed acceptancetest.Score
	for _, w := range someWarmths() {
		q := acceptancetest.Warms(scenariotest.WarmSuite(w, scenariotest.Quiet, n, seed, start))
		f := acceptancetest.Warms(scenariotest.WarmSuite(w, scenariotest.Heating, n, seed, start))
		report(t, string(w), q)
		report(t, string(w)+", fed", f)
		quiet.Add(q)
		fed.Add(f)
	}
	quiet.FalseAt, fed.FalseAt, quiet.Missed, fed.Missed = nil, nil, nil, nil // are reported
	report(t, "all, quiet", quiet)
	report(t, "all, fed", fed)
	t.Logf("foretold heat of its own that did not come so far: %d; told within five days of a feed: %d of %d", fed.Short, fed.ToldNear, fed.DueNear)
	falseMost, missed := 0.0, 0 // of the fixed few
	if more {
		// Seen on five sets of 20 of each kind, none of them used for the choices: 1.0 in
		// 100 blamed; 260 of 268 told, 55 of 58 in the worst. Since days of a fading heap
		// count no longer as usual ones, up to 3.1 were blamed.
		falseMost, missed = 4.0/100, fed.DueNear/16
	}
	if float64(quiet.False) > falseMost*quiet.Months {
		t.Errorf("blamed %d times in %.0f bin-months in which nothing heats", quiet.False, quiet.Months)
	}
	if float64(fed.False) > falseMost*fed.Months {
		t.Errorf("blamed %d times wrongly in %.0f bin-months of fed bins", fed.False, fed.Months)
	}
	if float64(fed.Short) > 12.0/100*fed.Months {
		t.Errorf("foretold %d times what did not come in %.0f bin-months of fed bins", fed.Short, fed.Months)
	}
	if fed.DueNear < 2*n || fed.ToldNear < fed.DueNear-missed {
		t.Errorf("told %d of %d feeds whose heat was real", fed.ToldNear, fed.DueNear)
	}
}

// someWarmths are every second of what warms a bin, or all with SOAK=1.
func someWarmths() (some []scenariotest.Warmth) {
	for i := 0; i < len(scenariotest.Warmths); i += efforttest.Cases(2, 1) {
		some = append(some, scenariotest.Warmths[i])
	}
	return some
}

// warmAsked is how many cases of each kind are asked for, from which seed, and
// whether that is more than the fixed few.
func warmAsked(t *testing.T) (n int, seed uint64, more bool) {
	t.Helper()
	n, seed = efforttest.Cases(1, 2), warmSeed
	if asked, err := strconv.Atoi(os.Getenv("WARM_CASES")); err == nil {
		n, more = asked, true
	}
	if other, err := strconv.ParseUint(os.Getenv("WARM_SEED"), 10, 64); err == nil {
		seed = other
	}
	return n, seed, more
}

// Bins that are fed grain every week or so have no quiet days to be compared with.
// What heats is told all the same, in the sun, beside a heater, a lamp or nothing of
// the kind, and what does not is not.
func TestWhatIsFedEveryWeekIsToldWhenItHeats(t *testing.T) {
	t.Parallel()
	n, seed, more := warmAsked(t)
	var all acceptancetest.Score
	for _, w := range append([]scenariotest.Warmth{scenariotest.NoWarmth}, someWarmths()...) {
		s := acceptancetest.Warms(scenariotest.WarmSuite(w, scenariotest.Weekly, n, seed, start))
		report(t, string(w)+", weekly", s)
		all.Add(s)
	}
	all.FalseAt, all.Missed = nil, nil
	report(t, "all, weekly", all)
	t.Logf("told within five days of a feed: %d of %d", all.ToldNear, all.DueNear)
	falseMost, missed := 1.0, all.DueNear/10 // of the fixed few
	if more {
		falseMost, missed = 5.0/100*all.Months, all.DueNear/12
	}
	if float64(all.False) > falseMost {
		t.Errorf("blamed %d times wrongly in %.0f bin-months", all.False, all.Months)
	}
	if all.DueNear < 2*n || all.ToldNear < all.DueNear-missed {
		t.Errorf("told %d of %d feeds whose heat was real", all.ToldNear, all.DueNear)
	}
}
