package acceptancetest_test

import (
	"testing"

	"binwatchd/internal/acceptancetest"
	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
	"binwatchd/internal/scenariotest"
)

// Air around a probe after work is no dryness. Before mild dryness waited for the
// level to climb back, 30 times one of these bins was told to be dry.
func TestAirAroundAProbeIsNoDryness(t *testing.T) {
	t.Parallel()
	n := efforttest.Cases(6, 24)
	s := acceptancetest.Gaps(scenariotest.Suite(scenariotest.Quiet, n, 44_000, start))
	if s.Cases < n*5/6 {
		t.Fatalf("%d bins were right; the test shows little", s.Cases)
	}
	if s.False > 1 {
		t.Errorf("got %d of %d bins told to be dry: %+v", s.False, s.Cases, s.FalseAt)
	}
}

// The noise of a probe moves a forecast by days from hour to hour. Before that was
// taken into account such bins were told 13 times at the worst that they were drying or
// no longer were.
func TestDryingDoesNotComeAndGoWithTheNoise(t *testing.T) {
	t.Parallel()
	for _, c := range scenariotest.Suite(scenariotest.Drying, efforttest.Cases(3, 12), 40_900, start) {
		changes, dry := 0, false
		for _, ch := range acceptancetest.Live(c).Changes {
			switch ch.Condition {
			case farm.TooDry:
				dry = ch.Change != farm.Eased
			case farm.Drying:
				if changes++; dry && ch.Change == farm.Raised {
					t.Errorf("%s: told to be drying at %s while it stood as too dry", c, ch.At)
				}
			}
		}
		if changes > 4 {
			t.Errorf("%s: %d changes of drying", c, changes)
		}
	}
}
