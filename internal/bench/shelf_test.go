package main_test

import (
	"testing"
	"time"

	"binwatchd/internal/acceptancetest"
	"binwatchd/internal/scenariotest"
)

// BenchmarkShelf is how well bad probes are told from honest ones, on simulated shelves
// of two bins: sixty of each fault, others than the tests take.
func BenchmarkShelf(b *testing.B) {
	start := time.Date(2026, 4, 6, 0, 0, 0, 0, time.UTC)
	for _, fault := range scenariotest.Faults {
		b.Run(string(fault), func(b *testing.B) {
			var s acceptancetest.ShelfScore
			for b.Loop() {
				s = acceptancetest.Shelf(scenariotest.Shelves(fault, 60, 55_000, start))
			}
			took := make([]float64, len(s.Took))
			for i, t := range s.Took {
				took[i] = t.Hours()
			}
			b.ReportMetric(float64(s.Cases), "cases")
			b.ReportMetric(float64(s.Found), "found")
			b.ReportMetric(acceptancetest.Quantile(took, 0.5), "took-h-50")
			b.ReportMetric(acceptancetest.Quantile(took, 0.9), "took-h-90")
			b.ReportMetric(float64(len(s.Wrong)), "wrong")
			b.ReportMetric(float64(s.Probes), "honest")
			b.ReportMetric(s.Months, "months")
		})
	}
}
