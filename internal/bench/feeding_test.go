package main_test

import (
	"testing"
	"time"

	"binwatchd/internal/acceptancetest"
	"binwatchd/internal/scenariotest"
)

// BenchmarkFeeding is how well it is told that feed is due, on simulated bins of which
// it is known what is left: twenty of each menu, others than the tests take.
func BenchmarkFeeding(b *testing.B) {
	start := time.Date(2026, 4, 6, 0, 0, 0, 0, time.UTC)
	for _, m := range scenariotest.Menus {
		b.Run(string(m), func(b *testing.B) {
			var s acceptancetest.FeedScore
			for b.Loop() {
				s = acceptancetest.Feedings(scenariotest.FeedSuite(m, 20, 43_000, start))
			}
			b.ReportMetric(float64(s.Cases), "cases")
			b.ReportMetric(float64(s.Untold), "untold")
			b.ReportMetric(float64(s.Early), "early")
			for _, at := range parts {
				b.ReportMetric(acceptancetest.Quantile(s.Off, at.part), "off-days-"+at.name)
				b.ReportMetric(100*acceptancetest.Quantile(s.Left, at.part), "left-%-"+at.name)
			}
		})
	}
}
