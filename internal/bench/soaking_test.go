package main_test

import (
	"math"
	"testing"
	"time"

	"binwatchd/internal/acceptancetest"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/scenariotest"
)

// BenchmarkDoses is how close doses come to what simulated bins truly want, sixty of
// each: others than the tests take.
func BenchmarkDoses(b *testing.B) {
	start := time.Date(2026, 4, 6, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name, from string
		told       float64
	}{
		{"guess", husbandry.Guess, 0}, {"learned", husbandry.Learned, 0}, {"told", husbandry.Told, 1},
		{"told_high", husbandry.Learned, 1.6}, {"told_low", husbandry.Learned, 1 / 1.6},
	} {
		b.Run(c.name, func(b *testing.B) {
			var s acceptancetest.DoseScore
			for b.Loop() {
				s = acceptancetest.Soak(scenariotest.Soakings(60, 45_000, c.told, start))
			}
			d := s.By[c.from]
			b.ReportMetric(float64(len(d.Ratios)), "doses")
			b.ReportMetric(d.Quantile(0.1), "ratio-10")
			b.ReportMetric(d.Quantile(0.5), "ratio-50")
			b.ReportMetric(d.Quantile(0.9), "ratio-90")
			b.ReportMetric(math.Round(100*d.Holds()), "held-%")
			b.ReportMetric(float64(s.Bins), "bins")
			b.ReportMetric(float64(s.Within), "within-4")
			b.ReportMetric(float64(s.Spoke), "spoke")
		})
	}
}
