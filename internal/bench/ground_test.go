package main_test

import (
	"testing"
	"time"

	"binwatchd/internal/acceptancetest"
	"binwatchd/internal/farm"
)

// BenchmarkGround is what is told of a bed of red worms in the ground of real loggers.
func BenchmarkGround(b *testing.B) {
	for _, logger := range acceptancetest.Loggers {
		b.Run(logger, func(b *testing.B) {
			var changes []farm.Change
			var weeks float64
			for b.Loop() {
				g, err := acceptancetest.ReadGround(logger)
				if err != nil {
					b.Fatal(err)
				}
				if changes, err = g.Rehearse(g.Bed("red")); err != nil {
					b.Fatal(err)
				}
				weeks = g.Weeks()
			}
			heated, suspect := 0, 0
			for _, ch := range changes {
				switch {
				case ch.Change != farm.Raised:
				case ch.Condition == farm.Heating:
					heated++
				case ch.Condition == farm.Suspect:
					suspect++
				}
			}
			b.ReportMetric(weeks, "weeks")
			b.ReportMetric(float64(heated), "heating")
			b.ReportMetric(float64(len(acceptancetest.Mild(changes))), "mild")
			b.ReportMetric(float64(acceptancetest.Harm(changes)), "harm")
			b.ReportMetric(float64(suspect), "suspect")
		})
	}
}

// BenchmarkDropOuts is how often a keeper is told of a device that drops out night after
// night: others than the tests take.
func BenchmarkDropOuts(b *testing.B) {
	var s acceptancetest.DropScore
	for b.Loop() {
		s = acceptancetest.DropOuts(12, 65_000, time.Date(2026, 4, 6, 0, 0, 0, 0, time.UTC))
	}
	b.ReportMetric(s.Weeks, "weeks")
	b.ReportMetric(float64(s.Drops), "drops")
	b.ReportMetric(float64(s.Told), "told")
}
