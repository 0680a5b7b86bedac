package rules_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
)

// seen is a line of what a keeper saw, days after t0.
func seen(days float64, what farm.JotKind) farm.Jot {
	return farm.Jot{At: t0.Add(time.Duration(days * 24 * float64(time.Hour))), Bin: "bed", What: what}
}

func (w *watched) zone(days float64) farm.ZoneView {
	return w.state.Look(t0.Add(time.Duration(days * 24 * float64(time.Hour)))).Bins[0].Zones[0]
}

// What is seen holds no judging, is shown with what to do for two weeks, and of each kind
// the newest alone.
func TestWhatIsSeenIsShownWithAdvice(t *testing.T) {
	efforttest.Long(t)
	for _, row := range farm.JotTable {
		if row.Sight == nil {
			continue
		}
		if row.Sight.Source == "" || row.Sight.Do == "" && row.Sight.Feel == farm.NoFeel && !row.Sight.Eggs {
			t.Errorf("%s changes nothing, or nobody knows by whose word", row.Name)
		}
		w := fedBed(2)
		w.live(3, seen(1, row.Name), seen(2, row.Name))
		z := w.zone(3)
		if len(z.Seen) != 1 || z.Seen[0].What != row.Name || !strings.Contains(z.Seen[0].Text, row.Sight.Do) || z.Seen[0].Caution != row.Sight.Caution {
			t.Errorf("%s: shown is %+v", row.Name, z.Seen)
		}
		if z.LidOff != nil {
			t.Errorf("%s holds judging until %s", row.Name, z.LidOff)
		}
		w.live(40)
		if z := w.zone(40); len(z.Seen) > 0 && z.Seen[0].HatchBy == nil {
			t.Errorf("%s is still shown after %d days", row.Name, 38)
		}
	}
}

// Sour stuff gets no food for a week, however little is left; then it is asked for.
func TestSourKeepsFoodBack(t *testing.T) {
	due := func(lines ...farm.Jot) float64 {
		w := fedBed(2)
		w.live(30, append([]farm.Jot{fed(0, 0.5, "mash")}, lines...)...)
		for _, ch := range w.changes {
			if ch.Condition == farm.FeedDue && ch.Change == farm.Raised {
				return ch.At.Sub(t0).Hours() / 24
			}
		}
		return math.Inf(1)
	}
	plain := due()
	if sour := due(seen(plain-1, "smells sour")); sour < plain+5.9 || sour > plain+6.2 {
		t.Errorf("asked for on day %.1f, want a week after the smell on day %.1f", sour, plain-1)
	}
	if mould := due(seen(plain-1, "mould")); mould != plain {
		t.Errorf("mould keeps food back until day %.1f, want %.1f", mould, plain)
	}
}

// Few worms are asked to be given half.
func TestFewWormsGetHalf(t *testing.T) {
	feed := func(lines ...farm.Jot) (kg float64, text string) {
		w := fedBed(2)
		w.live(30, append([]farm.Jot{fed(0, 0.5, "mash")}, lines...)...)
		for _, s := range w.state.Look(t0.Add(30 * 24 * time.Hour)).Standing {
			if s.Condition == farm.FeedDue {
				return s.Advice.FeedKg, s.Text
			}
		}
		t.Fatal("no feed is asked for")
		return 0, ""
	}
	all, _ := feed()
	half, text := feed(seen(2, "few worms"))
	if math.Abs(half-all/2) > 1e-9 || !strings.Contains(text, "Few worms were seen") {
		t.Errorf("got %v of %v: %s", half, all, text)
	}
}

// A hand that says otherwise than a probe has it looked at, until the probe agrees, a
// feel agrees, or two weeks have gone by; one that agrees is a rough point of
// calibration. The bed thrives at 70 to 85 % (husbandry.Species: Kaplan et al. 1980 and
// others), the probe says 76; that a hand is good to 10 points is a choice.
func TestAFeelIsHeldAgainstTheProbe(t *testing.T) {
	suspect := func(w *watched, days float64) string {
		for _, s := range w.state.Look(t0.Add(time.Duration(days * 24 * float64(time.Hour)))).Standing {
			if s.Condition == farm.Suspect {
				return s.Text
			}
		}
		return ""
	}
	w := fedBed(2)
	w.live(2, seen(1, "feels right"))
	if z := w.zone(2); len(z.Seen[0].Samples) != 1 || z.Seen[0].Samples[0] != (farm.FeelSample{Probe: "m", Raw: 76, Low: 70, High: 85}) {
		t.Errorf("by feel: %+v", z.Seen[0].Samples)
	}
	if s := suspect(w, 2); s != "" {
		t.Errorf("a feel that agrees: %s", s)
	}
	w = fedBed(2)
	w.live(3, seen(1, "dusty"))
	if s := suspect(w, 3); !strings.Contains(s, "said 76 % when the bin was noted as dusty") {
		t.Errorf("dusty at 76 %%: %q", s)
	}
	w.live(5, seen(4, "feels right"))
	if s := suspect(w, 5); s != "" {
		t.Errorf("after a feel that agrees: %s", s)
	}
	w = fedBed(2)
	w.live(16, seen(1, "dusty"))
	if s := suspect(w, 16); s != "" {
		t.Errorf("after two weeks: %s", s)
	}
	w = fedBed(2)
	late := seen(1, "dusty")
	w.live(2)
	w.wrote(t0.Add(48*time.Hour), late.At, late)
	if s := suspect(w, 2); s != "" {
		t.Errorf("written a day late: %s", s)
	}
}

// Eggs that are seen give a date: E. fetida's cocoons take 25 days at 20 °C (Add-my-Pet,
// as quoted in the table of species: 411 day-degrees above 3.56 °C).
func TestEggsGiveADate(t *testing.T) {
	w := fedBed(2)
	w.live(3, seen(2, "eggs"))
	z := w.zone(3)
	if len(z.Seen) != 1 || z.Seen[0].HatchBy == nil {
		t.Fatalf("got %+v", z.Seen)
	}
	if days := z.Seen[0].HatchBy.Sub(seen(2, "eggs").At).Hours() / 24; math.Abs(days-411/(20-3.56)) > 0.1 {
		t.Errorf("hatched after %.1f days, want 25.0", days)
	}
}
