package rules_test

import (
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// An hourly probe whose keeper has left `every` at ten minutes is judged all the
// same. That it speaks more slowly is told once, in words that say its pace.
func TestAProbeSlowerThanItsEveryIsJudgedAndTold(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	day := t0.Add(24 * time.Hour)
	for at := t0; at.Before(day); at = at.Add(time.Hour) {
		w.say("t", at, 20)
	}
	began := day
	for at := day; at.Before(day.Add(6 * time.Hour)); at = at.Add(time.Hour) {
		w.say("t", at, 33)
	}
	hot := w.of(farm.TooHot)
	if len(hot) == 0 || hot[0].Change != farm.Raised || hot[0].At.Sub(began) > 2*time.Hour {
		t.Errorf("got %+v, want the heat told within two of its readings", briefs(hot))
	}
	var silent []farm.Change
	for _, ch := range w.of(farm.Silent) {
		if ch.Probe == "t" {
			silent = append(silent, ch)
		}
	}
	// Until its pace is known it falls silent like any other.
	if n := len(silent); n == 0 || n > 10 || silent[n-1].Change != farm.Raised || silent[n-1].At.Sub(t0) > 6*time.Hour {
		t.Fatalf("got %+v, want it raised in the first hours and to stay", briefs(silent))
	}
	for _, s := range w.state.Look(day.Add(6 * time.Hour)).Standing {
		if s.Probe == "t" && (!strings.Contains(s.Text, "speaks every") || !strings.Contains(s.Text, "10 minutes") || !strings.Contains(s.Advice.Do, "every: 60m")) {
			t.Errorf("got %q and %q, want its own pace and the one it is meant to keep", s.Text, s.Advice.Do)
		}
	}
	// Half a day without a word is silence at any pace.
	later := day.Add(18 * time.Hour)
	w.step(farm.Event{Kind: farm.EventTick, Arrived: later})
	for _, s := range w.state.Look(later).Standing {
		if s.Probe == "t" && s.Condition == farm.Silent && !strings.Contains(s.Text, "has said nothing for") {
			t.Errorf("got %q, want it to say that it is silent", s.Text)
		}
	}
	// It keeps what the keeper has said from now on.
	w.hold("t", later, later.Add(6*time.Hour), 20)
	if got := w.of(farm.Silent); got[len(got)-1].Probe != "t" || got[len(got)-1].Change != farm.Eased {
		t.Errorf("got %+v, want it eased once the pace is kept", got[len(got)-1])
	}
}

// A probe that is heard faster than it is meant to be is as silent as any other
// after three times its `every`, and no sooner.
func TestAFastProbeIsSilentByItsEvery(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	last := t0
	for at := t0; at.Before(t0.Add(time.Hour)); at = at.Add(10 * time.Second) {
		w.say("t", at, 20)
		last = at
	}
	w.step(farm.Event{Kind: farm.EventTick, Arrived: last.Add(time.Hour)})
	for _, ch := range w.of(farm.Silent) {
		if ch.Probe == "t" && (ch.At.Sub(last) < 30*time.Minute || ch.At.Sub(last) > 32*time.Minute) {
			t.Errorf("got it silent after %s, want 30 minutes", ch.At.Sub(last))
		}
	}
}
