package rules_test

import (
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// Two probes of one device drop out every other night, and a third by itself: after
// three times that is one notice for the two. When one of them stays away alone, that
// is told.
func TestTwoProbesOfOneDeviceDropOut(t *testing.T) {
	f := several(farm.Temperature, "near", "far", "deep")
	w := watching(f)
	of := func(id string) (out []farm.Change) {
		for _, ch := range w.of(farm.Silent) {
			if ch.Probe == id {
				out = append(out, ch)
			}
		}
		return out
	}
	at := t0
	live := func(days int, dead bool) {
		for to := at.Add(time.Duration(days) * day); at.Before(to); at = at.Add(10 * time.Minute) {
			night := at.Hour() >= 2 && at.Hour() < 5 && at.YearDay()%2 == 0
			w.say("deep", at, 20)
			if night {
				continue
			}
			if !dead {
				w.say("near", at.Add(50*time.Second), 20)
			}
			w.say("far", at.Add(70*time.Second), 20)
		}
	}
	live(20, false)
	near, far := of("near"), of("far")
	if len(near)+len(far) != 6+6+1 {
		t.Fatalf("got %d changes of the one and %d of the other, want three pairs of each and one that stands for both: %+v %+v", len(near), len(far), briefs(near), briefs(far))
	}
	var st *farm.Standing
	for _, c := range w.state.Look(at).Standing {
		if c.Condition == farm.Silent && (c.Probe == "near" || c.Probe == "far") {
			st = &c
		}
	}
	for _, part := range []string{" and ", " drop out together again and again: ", ", mostly at night. They hang on one device. "} {
		if st == nil || !strings.Contains(st.Text, part) {
			t.Errorf("got %+v, want it to say %q", st, part)
		}
	}
	dead := "near"
	if len(near) > len(far) {
		dead = "" // it stands for both as it is
	}
	before := len(w.changes)
	live(1, true)
	if got := of("near"); dead != "" && (len(got) != len(near)+1 || got[len(got)-1].Change != farm.Raised) {
		t.Errorf("it stays away alone: got %+v", w.changes[before:])
	}
}

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
