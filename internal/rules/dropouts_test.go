package rules_test

import (
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// A probe that drops out every other night is one notice.
func TestAProbeThatDropsOutAgainAndAgain(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	silent := func() (out []farm.Change) {
		for _, ch := range w.of(farm.Silent) {
			if ch.Probe == "t" {
				out = append(out, ch)
			}
		}
		return out
	}
	live := func(from time.Time, days int, drops bool) time.Time {
		to := from.Add(time.Duration(days) * day)
		for at := from; at.Before(to); at = at.Add(10 * time.Minute) {
			w.say("m", at, 77)
			if away := at.Hour() >= 2 && at.Hour() < 5 && at.YearDay()%2 == 0; !away || !drops {
				w.say("t", at.Add(time.Second), 20)
			}
		}
		return to
	}
	at := live(t0, 22, true)
	got := silent()
	if last := got[len(got)-1]; len(got) != 7 || last.Change != farm.Raised {
		t.Fatalf("got %d changes, want three pairs and one that stands: %+v", len(got), briefs(got))
	}
	st := w.standing(at, farm.Silent)
	for _, part := range []string{"Probe t (Bed) drops out again and again: ", " times since ", ", mostly at night. It speaks at present."} {
		if st == nil || !strings.Contains(st.Text, part) {
			t.Errorf("got %+v, want it to say %q", st, part)
		}
	}
	live(at, 9, false)
	if got := silent(); len(got) != 8 || got[7].Change != farm.Eased || got[7].At.Sub(at) > 8*day {
		t.Errorf("got %+v, want it over after a week", briefs(got))
	}
}
