package acceptancetest_test

import (
	"math"
	"testing"
	"time"

	"binwatchd/internal/acceptancetest"
	"binwatchd/internal/efforttest"
	"binwatchd/internal/scenariotest"
)

var start = time.Date(2026, 4, 6, 0, 0, 0, 0, time.UTC)

// Nothing here starts a goroutine, and the race detector would make minutes of hours.
func TestMain(m *testing.M) { efforttest.Unraced(m) }

func report(t *testing.T, name string, s acceptancetest.Score) {
	t.Helper()
	t.Logf("%-12s cases %d, came %d, told %d, false %d (now %d), median lead %s, intervals %d covered %.0f %%, forecasts %+.1f h after the truth (%+.1f to %+.1f), notices a bin and week %.2f, bin-months %.1f",
		name, s.Cases, s.Due, s.Told, s.False, s.FalseNow, s.MedianLead().Round(time.Hour), s.Intervals, 100*s.Coverage(), acceptancetest.Quantile(s.Off, 0.5), acceptancetest.Quantile(s.Off, 0.1), acceptancetest.Quantile(s.Off, 0.9), s.PerWeek(), s.Months)
	for _, r := range s.FalseAt {
		t.Logf("false: %s on %s, %.1f K of its own, %.1f °C at most", r.Case, r.At.Format("2 January 15:04"), r.OwnK, r.PeakC)
	}
	for _, c := range s.Missed {
		t.Logf("missed: %s", c)
	}
}

func TestHeatingIsToldInTime(t *testing.T) {
	s := acceptancetest.Heatings(scenariotest.Suite(scenariotest.Heating, efforttest.Cases(16, 48), 100, start))
	report(t, "heating", s)
	if s.Recall() < 1 {
		t.Errorf("got recall %.2f, want every heating told before it crosses", s.Recall())
	}
	if s.False > 0 {
		t.Errorf("got %d heatings told that stayed far under the limit", s.False)
	}
	if s.MedianLead() < 6*time.Hour {
		t.Errorf("got a median lead of %s, want 6 h", s.MedianLead())
	}
	if off := acceptancetest.Quantile(s.Off, 0.5); math.Abs(off) > 1.5 {
		t.Errorf("got forecasts that lie %+.1f h after the truth in the middle, want 1.5 h at most", off)
	}
	honest(t, s)
}

// honest pins the coverage of 80 % intervals, loosely where they are few.
func honest(t *testing.T, s acceptancetest.Score) {
	t.Helper()
	most := 0.95
	if s.Intervals < 40 {
		most = 1
	}
	if c := s.Coverage(); c < 0.65 || c > most {
		t.Errorf("got intervals that hold the truth in %.0f %% of %d forecasts, want about 80 %%", 100*c, s.Intervals)
	}
}

func TestQuietBinsStayQuiet(t *testing.T) {
	t.Parallel()
	s := acceptancetest.Quiets(scenariotest.Suite(scenariotest.Quiet, efforttest.Cases(6, 100), 500, start))
	report(t, "quiet", s)
	if s.FalseNow > 0 || s.False > 0 {
		t.Errorf("got %d false heatings, %d of them now, in %.0f bin-months of quiet data; want none", s.False, s.FalseNow, s.Months)
	}
	if s.PerWeek() > 1 {
		t.Errorf("got %.2f notices a bin and week: that is nagging", s.PerWeek())
	}
}

func TestDryingIsToldWithAnHonestInterval(t *testing.T) {
	t.Parallel()
	s := acceptancetest.Dryings(scenariotest.Suite(scenariotest.Drying, efforttest.Cases(6, 40), 900, start))
	report(t, "drying", s)
	if s.Recall() < 0.95 {
		t.Errorf("got recall %.2f, want every drying told before it leaves the band", s.Recall())
	}
	honest(t, s)
}

func TestTheSiftingWindowIsNotMissed(t *testing.T) {
	opens, closes := acceptancetest.Siftings(scenariotest.Suite(scenariotest.Sifting, efforttest.Cases(10, 30), 1300, start))
	report(t, "sift-ready", opens)
	report(t, "sift-passing", closes)
	if opens.Recall() < 1 {
		t.Errorf("got recall %.2f, want every window told while it is open", opens.Recall())
	}
	if closes.Recall() < 0.95 {
		t.Errorf("got recall %.2f, want every closing told before it comes", closes.Recall())
	}
	honest(t, opens)
	honest(t, closes)
}

// What a keeper would be told in a year: more than one notice a bin and week is
// nagging.
func TestAYearOfQuietBinsDoesNotNag(t *testing.T) {
	t.Parallel()
	cases := scenariotest.Suite(scenariotest.Quiet, efforttest.Cases(1, 2), 2000, start)
	for i := range cases {
		cases[i].Days = 365
	}
	s := acceptancetest.Quiets(cases)
	report(t, "quiet year", s)
	if s.PerWeek() > 1 {
		t.Errorf("got %.2f notices a bin and week: that is nagging", s.PerWeek())
	}
}
