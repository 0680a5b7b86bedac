package main_test

import (
	"testing"
	"time"

	"binwatchd/internal/acceptance"
	"binwatchd/internal/scenario"
)

// BenchmarkAcceptance is how well trouble is told, on simulated bins of which
// the truth is known: more of them than the tests of package acceptance take,
// and others.
func BenchmarkAcceptance(b *testing.B) {
	start := time.Date(2026, 4, 6, 0, 0, 0, 0, time.UTC)
	opens, closes := acceptance.Siftings(scenario.Suite(scenario.Sifting, 60, 41_300, start))
	for _, c := range []struct {
		name  string
		score func() acceptance.Score
	}{
		{"heating", func() acceptance.Score {
			return acceptance.Heatings(scenario.Suite(scenario.Heating, 96, 40_100, start))
		}},
		{"drying", func() acceptance.Score { return acceptance.Dryings(scenario.Suite(scenario.Drying, 80, 40_900, start)) }},
		{"sift_opens", func() acceptance.Score { return opens }},
		{"sift_closes", func() acceptance.Score { return closes }},
		{"quiet", func() acceptance.Score { return acceptance.Quiets(scenario.Suite(scenario.Quiet, 100, 40_500, start)) }},
		{"heating_hourly", func() acceptance.Score {
			return acceptance.Heatings(scenario.Paced(scenario.Suite(scenario.Heating, 96, 40_100, start), time.Hour))
		}},
		{"heating_2h", func() acceptance.Score {
			return acceptance.Heatings(scenario.Paced(scenario.Suite(scenario.Heating, 96, 40_100, start), 2*time.Hour))
		}},
		{"warm", func() acceptance.Score { return warm(scenario.Quiet, start) }},
		{"warm_fed", func() acceptance.Score { return warm(scenario.Heating, start) }},
	} {
		b.Run(c.name, func(b *testing.B) {
			var s acceptance.Score
			for b.Loop() {
				s = c.score()
			}
			b.ReportMetric(float64(s.Due), "came")
			b.ReportMetric(float64(s.Told), "told")
			b.ReportMetric(float64(s.False), "false")
			b.ReportMetric(float64(s.FalseNow), "false-now")
			b.ReportMetric(float64(s.Short), "short")
			b.ReportMetric(float64(s.DueNear), "came-near")
			b.ReportMetric(float64(s.ToldNear), "told-near")
			b.ReportMetric(s.MedianLead().Hours(), "lead-h")
			b.ReportMetric(float64(s.Intervals), "intervals")
			b.ReportMetric(100*s.Coverage(), "covered-%")
			b.ReportMetric(s.Months, "months")
			b.ReportMetric(s.PerWeek(), "notices/week")
		})
	}
}

// warm is what is told of bins that the sun, a heater, a lamp or the like warms:
// twenty of each.
func warm(kind scenario.Kind, start time.Time) (all acceptance.Score) {
	for _, w := range scenario.Warmths {
		all.Add(acceptance.Warms(scenario.WarmSuite(w, kind, 20, 42_000, start)))
	}
	return all
}
