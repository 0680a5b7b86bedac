package rules_test

import (
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// What ends a day after the one probe that knew of it fell silent is what is
// known of it, not the heat: the words say so, and where to look.
func TestTheEndSaysWhatIsNotKnown(t *testing.T) {
	for _, tt := range []struct {
		name   string
		q      farm.Quantity
		cond   farm.Condition
		near   float64
		others float64
		back   bool
	}{
		{"a hot end falls silent", farm.Temperature, farm.TooHot, 35, 20, false},
		{"a cold end falls silent", farm.Temperature, farm.TooCold, 2, 20, false},
		{"a dry end falls silent", farm.Moisture, farm.TooDry, 55, 78, false},
		{"a hot end speaks again, cooled", farm.Temperature, farm.TooHot, 35, 20, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := watching(several(tt.q, "near", "far"))
			dead := t0.Add(10 * time.Hour)
			w.all(t0, dead, map[string]float64{"near": tt.near, "far": tt.others}, "near", "far")
			later := dead.Add(12 * time.Hour)
			w.all(dead, later, map[string]float64{"far": tt.others}, "far")
			after := map[string]float64{"far": tt.others}
			if tt.back {
				after["near"] = tt.others
			}
			w.all(later, later.Add(48*time.Hour), after, "near", "far")
			got := w.of(tt.cond)
			last := got[len(got)-1]
			if last.Change != farm.Eased {
				t.Fatalf("got %+v, want an end", briefs(got))
			}
			unknown := strings.Contains(last.Text, "no longer known to be") && strings.Contains(last.Text, "But near said ")
			if unknown == tt.back {
				t.Errorf("got %q", last.Text)
			}
		})
	}
}
