package acceptancetest_test

import (
	"testing"

	"binwatchd/internal/acceptancetest"
	"binwatchd/internal/efforttest"
	"binwatchd/internal/scenariotest"
)

// Bad probes on a shelf of two bins are found, and honest ones are believed. Before
// their rules were there, 0 of 11 that changed places were found within a day and a half, 10 of 30
// with water in them within a day, all by a twin, and 7 of 30 that drifted.
func TestBadProbesOnAShelf(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		fault scenariotest.Fault
		n     int
		found float64 // of those that show, at least
	}{
		{scenariotest.NoFault, 16, 0}, {scenariotest.Soak, 20, 0.75}, {scenariotest.Drift, 16, 0.4}, {scenariotest.Swap, 30, 0.75},
		{scenariotest.Freeze, 15, 0.6}, {scenariotest.Noise, 12, 0.9},
	} {
		t.Run(string(tt.fault), func(t *testing.T) {
			t.Parallel()
			s := acceptancetest.Shelf(scenariotest.Shelves(tt.fault, efforttest.Cases(tt.n/2, tt.n), 50_000, start))
			t.Logf("found %d of %d; %d of %d honest ones doubted in %.0f probe-months", s.Found, s.Cases, len(s.Wrong), s.Probes, s.Months)
			if float64(s.Found) < tt.found*float64(s.Cases) {
				t.Errorf("found %d of %d; missed %v", s.Found, s.Cases, s.Missed)
			}
			most := s.Probes / 100
			if tt.fault == scenariotest.Drift {
				most = s.Probes / 50 // an older fault: of two that part slowly, the one that stayed may be blamed
			}
			if len(s.Wrong) > most {
				t.Errorf("%d of %d honest probes were doubted: %v", len(s.Wrong), s.Probes, s.Wrong)
			}
		})
	}
}
