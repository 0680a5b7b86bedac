package main_test

import (
	"testing"
	"time"

	"binwatchd/internal/acceptancetest"
	"binwatchd/internal/scenariotest"
)

// BenchmarkAcceptance is how well trouble is told, on simulated bins of which
// the truth is known: more of them than the tests of package acceptance take,
// and others.
func BenchmarkAcceptance(b *testing.B) {
	start := time.Date(2026, 4, 6, 0, 0, 0, 0, time.UTC)
	opens, closes := acceptancetest.Siftings(scenariotest.Suite(scenariotest.Sifting, 60, 41_300, start))
	for _, c := range []struct {
		name  string
		score func() acceptancetest.Score
	}{
		{"heating", func() acceptancetest.Score {
			return acceptancetest.Heatings(scenariotest.Suite(scenariotest.Heating, 96, 40_100, start))
		}},
		{"drying", func() acceptancetest.Score {
			return acceptancetest.Dryings(scenariotest.Suite(scenariotest.Drying, 80, 40_900, start))
		}},
		{"sift_opens", func() acceptancetest.Score { return opens }},
		{"sift_closes", func() acceptancetest.Score { return closes }},
		{"quiet", func() acceptancetest.Score {
			return acceptancetest.Quiets(scenariotest.Suite(scenariotest.Quiet, 100, 40_500, start))
		}},
		{"heating_hourly", func() acceptancetest.Score {
			return acceptancetest.Heatings(scenariotest.Paced(scenariotest.Suite(scenariotest.Heating, 96, 40_100, start), time.Hour))
		}},
		{"heating_2h", func() acceptancetest.Score {
			return acceptancetest.Heatings(scenariotest.Paced(scenariotest.Suite(scenariotest.Heating, 96, 40_100, start), 2*time.Hour))
		}},
		{"air_gap", func() acceptancetest.Score {
			return acceptancetest.Gaps(scenariotest.Suite(scenariotest.Quiet, 60, 44_100, start))
		}},
		{"warm", func() acceptancetest.Score { return warm(scenariotest.Quiet, start) }},
		{"warm_fed", func() acceptancetest.Score { return warm(scenariotest.Heating, start) }},
		{"warm_weekly", func() acceptancetest.Score { return warm(scenariotest.Weekly, start) }},
	} {
		b.Run(c.name, func(b *testing.B) {
			var s acceptancetest.Score
			for b.Loop() {
				s = c.score()
			}
			b.ReportMetric(float64(s.Due), "came")
			b.ReportMetric(float64(s.Told), "told")
			b.ReportMetric(float64(s.FalseNow), "false-now")
			b.ReportMetric(float64(s.Short), "short")
			b.ReportMetric(float64(s.DueNear), "came-near")
			b.ReportMetric(float64(s.ToldNear), "told-near")
			b.ReportMetric(s.MedianLead().Hours(), "lead-h")
			b.ReportMetric(s.Lead(0.1).Hours(), "lead-h-10")
			b.ReportMetric(s.FalsePer100(), "false/100-months")
			b.ReportMetric(float64(s.Intervals), "intervals")
			b.ReportMetric(100*s.Coverage(), "covered-%")
			for _, at := range parts {
				b.ReportMetric(acceptancetest.Quantile(s.Off, at.part), "off-h-"+at.name)
			}
			b.ReportMetric(s.Months, "months")
			b.ReportMetric(s.PerWeek(), "notices/week")
		})
	}
}

// parts are the quantiles that are printed of what varies.
var parts = []struct {
	part float64
	name string
}{{0.1, "10"}, {0.5, "50"}, {0.9, "90"}}

// warm is what is told of bins that the sun, a heater, a lamp or the like warms:
// twenty of each.
func warm(kind scenariotest.Kind, start time.Time) (all acceptancetest.Score) {
	for _, w := range scenariotest.Warmths {
		all.Add(acceptancetest.Warms(scenariotest.WarmSuite(w, kind, 20, 42_000, start)))
	}
	return all
}

// BenchmarkExposed is how well it is told what the room brings: twenty bins to which
// each turn comes, other ones than the tests of package acceptance look at.
func BenchmarkExposed(b *testing.B) {
	start := time.Date(2026, 4, 6, 0, 0, 0, 0, time.UTC)
	weather := []scenariotest.Turn{scenariotest.UsualDays, scenariotest.Front, scenariotest.Nights, scenariotest.HotSpell}
	faults := []scenariotest.Turn{scenariotest.WindowOpen, scenariotest.HeaterOff}
	for _, c := range []struct {
		name     string
		turns    []scenariotest.Turn
		foretold bool
	}{
		{"weather_foretold", weather, true}, {"weather", weather, false}, {"fault_foretold", faults, true}, {"fault", faults, false},
	} {
		b.Run(c.name, func(b *testing.B) {
			var s acceptancetest.Score
			for b.Loop() {
				s = acceptancetest.Score{}
				for _, turn := range c.turns {
					s.Add(acceptancetest.Exposures(scenariotest.ExposedSuite(turn, c.foretold, 20, 43_000, start)))
				}
			}
			b.ReportMetric(float64(s.Due), "came")
			b.ReportMetric(float64(s.Told), "told")
			b.ReportMetric(float64(s.Early), "early")
			b.ReportMetric(s.MedianLead().Hours(), "lead-h")
			b.ReportMetric(s.Lead(0.1).Hours(), "lead-h-10")
			b.ReportMetric(s.FalsePer100(), "false/100-months")
			b.ReportMetric(float64(s.Intervals), "intervals")
			b.ReportMetric(100*s.Coverage(), "covered-%")
			for _, at := range parts {
				b.ReportMetric(acceptancetest.Quantile(s.Off, at.part), "off-h-"+at.name)
			}
			b.ReportMetric(s.Months, "months")
			b.ReportMetric(float64(s.Twice), "twice")
			b.ReportMetric(s.PerWeek(), "notices/week")
		})
	}
}
