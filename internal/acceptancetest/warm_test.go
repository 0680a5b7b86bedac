package acceptancetest_test

import (
	"os"
	"strconv"
	"testing"

	"binwatchd/internal/acceptancetest"
	"binwatchd/internal/scenariotest"
)

// warmSeed begins the seeds that the tests look at; others were held out while
// the thresholds were chosen, and `make bench` takes others again.
const warmSeed = 7000

// Sun, heaters, a heat wave, a lamp, a mat: what warms a bin from outside is
// not told as its own heat, whether it was fed or not. WARM_CASES asks for more
// of each kind than the few that fit into a test, WARM_SEED for others.
func TestWhatWarmsABinFromOutsideIsNotItsOwnHeat(t *testing.T) {
	n := 2
	if part > 1 {
		n = 1
	}
	asked, err := strconv.Atoi(os.Getenv("WARM_CASES"))
	more := err == nil
	if more {
		n = asked
	}
	seed := uint64(warmSeed)
	if other, err := strconv.ParseUint(os.Getenv("WARM_SEED"), 10, 64); err == nil {
		seed = other
	}
	var quiet, fed acceptancetest.Score
	for _, w := range scenariotest.Warmths {
		q := acceptancetest.Warms(scenariotest.WarmSuite(w, scenariotest.Quiet, n, seed, start))
		f := acceptancetest.Warms(scenariotest.WarmSuite(w, scenariotest.Heating, n, seed, start))
		report(t, string(w), q)
		report(t, string(w)+", fed", f)
		for _, s := range []acceptancetest.Score{q, f} {
			for _, r := range s.FalseAt {
				t.Logf("false: %s on %s, %.1f K of its own, %.1f °C at most", r.Case, r.At.Format("2 January 15:04"), r.OwnK, r.PeakC)
			}
			for _, c := range s.Missed {
				t.Logf("missed: %s", c)
			}
		}
		quiet.Add(q)
		fed.Add(f)
	}
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
