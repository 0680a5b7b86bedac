package rules_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
)

// swings lets the bed have days: a mean, and so many K up in the afternoon and
// down at night.
func (w *watched) swings(from time.Time, days int, meanC, k float64) time.Time {
	to := from.Add(time.Duration(days) * day)
	for at := from; at.Before(to); at = at.Add(10 * time.Minute) {
		w.say("t", at, meanC+k*math.Sin(2*math.Pi*at.Sub(t0).Hours()/24))
	}
	return to
}

// Red worms thrive at 15 to 25 °C.
func TestAMildLimitGoesByTheMeanOfTheDay(t *testing.T) {
	t.Run("warm afternoons", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		w.swings(w.swings(t0, 1, 20, 0), 14, 23, 4)
		if got := w.of(farm.TooHot); len(got) != 0 {
			t.Errorf("got %+v for afternoons 2 K over thrive", briefs(got))
		}
	})
	t.Run("hot afternoons are one episode", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		at := w.swings(w.swings(t0, 1, 20, 0), 10, 23, 6)
		told := w.of(farm.TooHot)
		if len(told) != 3 || told[0].At.Sub(t0) > day+6*time.Hour || told[2].Episode != told[0].Episode {
			t.Fatalf("got %+v, want it raised on the first afternoon and, the same episode, for good on the second", briefs(told))
		}
		st := w.standing(at, farm.TooHot)
		if st == nil || !strings.Contains(st.Text, "It has come 10 times since 5 May") {
			t.Fatalf("got %+v, want how often it has come", st)
		}
		for _, part := range []string{"Bed was too hot, and is at 22.5 °C now", "The mean of the last 24 hours is 23 °C", "stayed away for three days"} {
			if !strings.Contains(st.Text, part) {
				t.Errorf("%q does not say %q", st.Text, part)
			}
		}
		w.swings(at, 5, 20, 2)
		got := w.of(farm.TooHot)
		if last := got[len(got)-1]; len(got) != 4 || last.Change != farm.Eased || last.At.Sub(at) < 2*day || last.At.Sub(at) > 3*day ||
			!strings.Contains(last.Text, "The mean of the last 24 hours is") || !strings.Contains(last.Text, "°C now, after it came 10 times since 5 May (it reached 29 °C).") {
			t.Errorf("got %+v, want it eased three days after the last hot afternoon", got)
		}
	})
	t.Run("cold nights of a mild week", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		w.swings(w.swings(t0, 1, 20, 0), 14, 16.5, 3)
		if got := w.of(farm.TooCold); len(got) != 0 {
			t.Errorf("got %+v for nights 1.5 K under thrive", briefs(got))
		}
	})
	t.Run("a cold week with mild afternoons", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		at := w.swings(t0, 2, 18, 2)
		at = w.swings(at, 7, 13, 3)
		if got := only(t, w.of(farm.TooCold)); got.Change != farm.Raised || !strings.Contains(got.Text, "The mean of the last 24 hours is 1") {
			t.Errorf("got %+v, want it raised by level and mean, and both told", got)
		}
		w.swings(at, 5, 18, 1)
		got := w.of(farm.TooCold)
		if last := got[len(got)-1]; len(got) != 2 || last.Change != farm.Eased {
			t.Errorf("got %+v, want it eased once", briefs(got))
		}
	})
	t.Run("half a day inside", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		at := w.swings(t0, 3, 8, 0)
		w.swings(at, 1, 17, 0)
		got := w.of(farm.TooCold)
		want := []brief{{30 * time.Minute, farm.Raised, farm.Soon}, {3*day + 12*time.Hour + 10*time.Minute, farm.Eased, farm.Soon}}
		if diff := cmp.Diff(want, briefs(got)); diff != "" {
			t.Errorf("changes (-want +got):\n%s", diff)
		}
		if last := got[len(got)-1]; !strings.Contains(last.Text, ", after 3 days (it reached 8 °C)") {
			t.Errorf("%q does not say how long it was cold, without the half day inside", last.Text)
		}
	})
	t.Run("frost at night is one episode", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		at := w.swings(w.swings(t0, 1, 10, 0), 10, 6, 3)
		urgent := func() (out []farm.Change) {
			for _, ch := range w.of(farm.TooCold) {
				if ch.Urgency == farm.Now || ch.Change == farm.Lightened {
					out = append(out, ch)
				}
			}
			return out
		}
		if got := urgent(); len(got) != 3 {
			t.Fatalf("got %+v, want it urgent in the first night, and from the second on for good", briefs(got))
		}
		st := w.standing(at, farm.TooCold)
		if st == nil || st.Urgency != farm.Now || !strings.Contains(st.Text, " It has been past 4 °C, where there is harm, 10 times since 5 May: ") {
			t.Fatalf("got %+v, want how often it has come", st)
		}
		w.swings(at, 3, 9, 3)
		got := urgent()
		if last := got[len(got)-1]; len(got) != 4 || last.Change != farm.Lightened || last.At.Sub(at) < 12*time.Hour || last.At.Sub(at) > 30*time.Hour {
			t.Errorf("got %+v, want it over after a night without", briefs(got))
		}
	})
	t.Run("frost waits for no mean", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		at := w.swings(t0, 3, 20, 0)
		w.hold("t", at, at.Add(2*time.Hour), 3)
		if got := only(t, w.of(farm.TooCold)); got.Urgency != farm.Now || got.At.Sub(at) > 40*time.Minute {
			t.Errorf("got %+v, want it urgent after its patience", got)
		}
	})
}

// Hours in which nothing was believed are no part of the mean, and under twelve of
// them the level decides.
func TestADayOfWhichLittleIsKnown(t *testing.T) {
	for _, tt := range []struct {
		known time.Duration
		want  bool
	}{{11 * time.Hour, true}, {13 * time.Hour, false}} {
		w := watching(nursery(farm.Living, "red"))
		w.hold("t", t0, t0.Add(tt.known), 20)
		w.hold("t", t0.Add(18*time.Hour), t0.Add(18*time.Hour+50*time.Minute), 26)
		if got := len(w.of(farm.TooHot)) > 0; got != tt.want {
			t.Errorf("%s known: raised %v, want %v", tt.known, got, tt.want)
		}
	}
}
