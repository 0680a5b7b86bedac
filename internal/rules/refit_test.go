package rules_test

import (
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// While no limit is near the moisture curve is drawn anew every three hours,
// near one every hour, and at once after the bin was opened.
func TestMoistureIsRefittedMoreOftenNearALimit(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	at, pct := t0, 79.0
	dry := func(hours int, perDay float64) (forecasts int) {
		seen := map[time.Time]bool{}
		for range hours {
			for range 6 {
				at, pct = at.Add(10*time.Minute), pct-perDay/24/6
				w.say("m", at, pct)
			}
			for _, o := range w.state.Look(at).Bins[0].Zones[0].Outlook {
				if o.Condition == farm.Drying {
					seen[o.Forecast.Crosses] = true
				}
			}
		}
		return len(seen)
	}
	dry(4*24, 0.5)
	if got := dry(24, 0.5); got < 7 || got > 10 {
		t.Errorf("got %d forecasts in a day far from any limit, want about eight", got)
	}
	w.jot(at, farm.Jot{What: farm.Turned})
	if got := len(w.state.Look(at.Add(2 * time.Hour)).Bins[0].Zones[0].Outlook); got == 0 {
		t.Fatal("no forecast stands; the test shows nothing")
	}
	w.hold("m", at.Add(time.Hour), at.Add(3*time.Hour), pct)
	if out := w.state.Look(at.Add(3 * time.Hour)).Bins[0].Zones[0].Outlook; len(out) != 0 {
		t.Errorf("got %+v, want the forecast of before the turning gone", out)
	}
	at, pct = at.Add(3*time.Hour), 74
	dry(4*24, 0.7)
	if got := dry(20, 0.7); got < 18 {
		t.Errorf("got %d forecasts in twenty hours near the limit, want one an hour", got)
	}
}
