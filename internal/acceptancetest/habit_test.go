package acceptancetest_test

import (
	"testing"

	"binwatchd/internal/acceptancetest"
	"binwatchd/internal/efforttest"
	"binwatchd/internal/scenariotest"
)

// Keepers with a rhythm are known by it and left in peace; one who waters at whim and
// one who neglects the bin have none, and are told of every breach. Nothing past survive
// is ever left to the rounds. The figures of internal/rules/habit.go were chosen by the
// seeds from 100; these were held out.
func TestHabits(t *testing.T) {
	for _, tt := range []struct {
		family         scenariotest.Family
		known, held    float64 // at least that part of waterings is foreseen, and of those within the interval
		rounds, toldAt float64 // between these parts of the breaches are left to the rounds
	}{
		{scenariotest.ByCalendar, 0.75, 0.8, 0.65, 1},
		{scenariotest.ByCount, 0.85, 0.8, 0.8, 1},
		{scenariotest.ByFeel, 0.85, 0.8, 0.8, 1},
		{scenariotest.Quickens, 0.6, 0.7, 0.4, 0.9},
		{scenariotest.Whim, 0, 0, 0, 0.1},
		{scenariotest.Neglect, 0, 0, 0, 0},
	} {
		bins := efforttest.Cases(2, 6)
		t.Run(string(tt.family), func(t *testing.T) {
			t.Parallel()
			s := acceptancetest.LiveBy(scenariotest.Habits(tt.family, bins, 7100, start))
			t.Logf("%+v", s)
			known, rounds := float64(s.Foreseen)/float64(s.Waterings), float64(s.Rounds)/float64(s.Raised)
			if known < tt.known || tt.known == 0 && known > 0.1 {
				t.Errorf("%.2f of the waterings were foreseen, want %.2f", known, tt.known)
			}
			if held := float64(s.Held) / float64(max(1, s.Foreseen)); held < tt.held {
				t.Errorf("%.2f of those came within their interval, want %.2f", held, tt.held)
			}
			if rounds < tt.rounds || rounds > tt.toldAt {
				t.Errorf("%.2f of the breaches were left to the rounds, want %.2f to %.2f", rounds, tt.rounds, tt.toldAt)
			}
			if s.Hidden > 0 || float64(s.Harmful) > 0.02*float64(s.Rounds) {
				t.Errorf("harm was left to the rounds %d times and came before them %d times of %d", s.Hidden, s.Harmful, s.Rounds)
			}
			if s.Raised < 3*bins || s.Waterings < 4*bins {
				t.Errorf("nothing was tried: %+v", s)
			}
		})
	}
}
