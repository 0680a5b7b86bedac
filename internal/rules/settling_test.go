package rules_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// Air around a probe after work reads as dryness: it climbs back, and nobody is told
// to water.
func TestAnAirGapIsNoDryness(t *testing.T) {
	for _, tt := range []struct {
		name   string
		did    farm.JotKind // "" for a probe that was put back
		gap    float64      // points, at first
		within float64      // hours in which a third of it is left
		want   int
	}{
		{"turned", farm.Turned, 12, 8, 0},
		{"fed", farm.Fed, 8, 6, 0},
		{"bedded", farm.Bedded, 9, 12, 0},
		{"opened", farm.Lifted, 6, 10, 0},
		{"put back", "", 9, 8, 0},
		{"truly dry since", farm.Turned, 8, math.Inf(1), 1},
		{"harm is told", farm.Turned, 18, math.Inf(1), 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := watching(nursery(farm.Living, "red"))
			at := w.days(t0, 3, 20, 74)
			if tt.did != "" {
				w.jot(at, farm.Jot{What: tt.did, Kg: 1, Of: "scraps"})
			} else {
				for range 12 {
					w.doubt("m", at, 5, farm.TooFast)
					at = at.Add(20 * time.Minute)
				}
			}
			done, said := at, false
			for ; at.Before(done.Add(3 * day)); at = at.Add(20 * time.Minute) {
				w.say("t", at, 20)
				w.say("m", at.Add(time.Second), 74-tt.gap*math.Exp(-at.Sub(done).Hours()/tt.within))
				v := w.state.Look(at.Add(time.Second))
				said = said || strings.Contains(strings.Join(v.Unsure(farm.Dates{Location: time.UTC}), "\n"), "Bed reads too dry while its probe settles after the work there; it is judged by that ")
			}
			got := w.of(farm.TooDry)
			if len(got) != tt.want {
				t.Fatalf("got %+v, want %d", briefs(got), tt.want)
			}
			if len(w.of(farm.Drying)) != 0 {
				t.Errorf("got %+v", briefs(w.of(farm.Drying)))
			}
			harm := tt.gap > 14
			if len(got) > 0 && (got[0].Urgency == farm.Now) != harm {
				t.Errorf("got %s", got[0].Urgency)
			}
			if told := len(got) > 0 && got[0].At.Sub(done) < 5*time.Hour; told != harm {
				t.Errorf("told within hours: %v, want %v", told, harm)
			}
			if said == harm && tt.did != "" {
				t.Errorf("said that the probe settles: %v", said)
			}
		})
	}
}
