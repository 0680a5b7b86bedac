package rules_test

import (
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// A probe that is not believed judges no bin; but when it goes on saying that
// the worms are in danger, somebody must look today.
func TestADoubtedProbeThatTellsOfDangerIsLookedAtToday(t *testing.T) {
	const m = time.Minute
	cases := []struct {
		name      string
		quantity  farm.Quantity
		usual     float64
		every     time.Duration
		doubt     farm.Doubt
		says      float64
		lasts     time.Duration
		want      farm.Urgency
		words, do string
	}{
		{"hot beside its twin", farm.Temperature, 26, 10 * m, farm.TwinApart, 37.8, 3 * time.Hour, farm.Today, "near says 37.8 °C, far 26: look", "jot that the bin was turned"},
		{"hot at once", farm.Temperature, 26, 10 * m, farm.TooFast, 37.8, 3 * time.Hour, farm.Today, "near says 37.8 °C, far 26: look", "jot that the bin was turned"},
		{"hot and frozen, hourly", farm.Temperature, 26, time.Hour, farm.Frozen, 37.8, 3 * time.Hour, farm.Today, "near says 37.8 °C, far 26: look", "off and on"},
		{"on the bench", farm.Moisture, 75, 10 * m, farm.TooFast, 4, 3 * time.Hour, farm.Today, "near says 4 %, far 75: look", "still sits in the bin"},
		{"a spike that stays", farm.Temperature, 26, 10 * m, farm.Spike, 36, 3 * time.Hour, farm.Today, "near says 36 °C, far 26: look", "cable"},
		{"apart, but in no danger", farm.Temperature, 26, 10 * m, farm.TwinApart, 18, 3 * time.Hour, farm.Soon, "(it says 18 °C)", "side by side"},
		{"hot for a moment only", farm.Temperature, 26, 10 * m, farm.TooFast, 50, 15 * m, farm.Soon, "look", "still sits in the bin"},
		{"a fault code is no heat", farm.Temperature, 26, 10 * m, farm.FaultCode, 85, 3 * time.Hour, farm.Soon, "fault code", "cable"},
	}
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			f := several(tt.quantity, "near", "far")
			for i := range f.Probes {
				f.Probes[i].Every = tt.every
			}
			w := watching(f)
			for at := t0; at.Before(t0.Add(30 * time.Hour)); at = at.Add(tt.every) {
				w.say("far", at, tt.usual)
				if since := at.Sub(t0) - 24*time.Hour; since >= 0 && since < tt.lasts {
					w.doubt("near", at.Add(time.Second), tt.says, tt.doubt)
				} else {
					w.say("near", at.Add(time.Second), tt.usual)
				}
			}
			worst, last, words := farm.Calm, farm.Change{}, ""
			for _, ch := range w.of(farm.Suspect) {
				if worst = max(worst, ch.Urgency); ch.Change != farm.Eased {
					words, last = ch.Text, ch
				}
			}
			if worst != tt.want || !strings.Contains(words, tt.words) {
				t.Errorf("got %s and %q, want %s with %q", worst, words, tt.want, tt.words)
			}
			if last.Advice == nil || !strings.Contains(last.Advice.Do, tt.do) {
				t.Errorf("got the advice %+v, want it to say %q", last.Advice, tt.do)
			}
			for _, ch := range w.changes {
				if ch.Urgency == farm.Now || ch.Condition == farm.TooDry {
					t.Errorf("one bad probe alone made %s at %s: %s", ch.Condition, ch.Urgency, ch.Text)
				}
			}
			if got := w.of(farm.Suspect); got[len(got)-1].Change != farm.Eased {
				t.Errorf("got %+v last, want it eased once it is believed", got[len(got)-1])
			}
		})
	}
}
