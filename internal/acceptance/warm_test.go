package acceptance_test

import (
	"os"
	"testing"

	"binwatchd/internal/acceptance"
	"binwatchd/internal/scenario"
)

func TestWarmTable(t *testing.T) {
	n := 24
	var all acceptance.Score
	for _, kind := range []scenario.Kind{scenario.Quiet, scenario.Heating} {
		for _, w := range scenario.Warmths {
			s := acceptance.Warms(scenario.WarmSuite(w, kind, n, 7000, start))
			report(t, string(kind)+" "+string(w), s)
			all.Due += s.Due
			all.Told += s.Told
			all.False += s.False
			all.Months += s.Months
			all.Leads = append(all.Leads, s.Leads...)
			if os.Getenv("VERBOSE") != "" {
				for i, f := range s.FalseAt {
					if i < 12 {
						t.Logf("   false %s at %s own %.1f peak %.1f", f.Case, f.At.Format("02 15:04"), f.OwnK, f.PeakC)
					}
				}
				for _, c := range s.Missed {
					t.Logf("   missed %s", c)
				}
			}
		}
	}
	report(t, "all", all)
}
