package rules_test

import (
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
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

// A probe that speaks only when something has changed is quiet for an hour or two
// as a matter of course: that is told once, not every time, and what it said last
// stands until it speaks again.
func TestAProbeThatSpeaksOnChange(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	gaps := []time.Duration{2, 95, 12, 40, 3, 150, 25, 8} // minutes
	at, unjudged := t0, 0
	for i := range 80 {
		w.say("t", at, 20+0.25*float64(i%2))
		w.say("m", at, 77)
		next := at.Add(gaps[i%len(gaps)] * time.Minute)
		for m := at.Add(time.Minute); m.Before(next); m = m.Add(time.Minute) {
			w.step(farm.Event{Kind: farm.EventTick, Arrived: m})
			if i > 16 && w.state.Look(m).Bins[0].Zones[0].Unjudged != "" {
				unjudged++
			}
		}
		at = next
	}
	told := 0
	for _, ch := range w.of(farm.Silent) {
		if ch.Probe == "t" && ch.Change == farm.Raised {
			told++
		}
	}
	if told > 3 {
		t.Errorf("got it told %d times in three days that it is silent, want it told once its pauses are known and no more", told)
	}
	if unjudged > 0 {
		t.Errorf("got %d minutes without a fresh reading, want none", unjudged)
	}
	for _, st := range w.state.Look(at).Standing {
		if st.Probe == "t" && !strings.Contains(st.Text, "often quiet for") {
			t.Errorf("got %q, want its pauses named", st.Text)
		}
	}
	// Half a day is longer than any of its pauses.
	w.step(farm.Event{Kind: farm.EventTick, Arrived: at.Add(12 * time.Hour)})
	if z := w.state.Look(at.Add(12 * time.Hour)).Bins[0].Zones[0]; z.Unjudged == "" {
		t.Error("got the zone judged by what was said half a day ago")
	}
}

// stamped has a probe say a value that its device stamped.
func (w *watched) stamped(probe string, arrived, at time.Time, v float64, d farm.Doubt) {
	w.step(farm.Event{Kind: farm.EventReading, Arrived: arrived, Reading: farm.Reading{Probe: probe, At: at, Raw: v, Value: v, Stamped: true, Doubt: d}})
}

// What has no true time or is not believed does not make later, stamped readings
// late: they are judged.
func TestUndatedAndDoubtedReadingsMakeNoneLate(t *testing.T) {
	slow := 5 * time.Minute // its clock, or the way of its messages
	hot := t0.Add(3 * time.Hour)
	cases := map[string]func(w *watched){
		"nothing":                     func(*watched) {},
		"one without a stamp":         func(w *watched) { w.say("t", hot, 20) },
		"one of a wild stamp":         func(w *watched) { w.step(misdated("t", hot, 20)) },
		"one whose time is uncertain": func(w *watched) { w.step(uncertain("t", hot, 20)) },
		"one doubted, stamped ahead":  func(w *watched) { w.stamped("t", hot, hot.Add(9*time.Minute), 85, farm.FaultCode) },
		"many of each": func(w *watched) {
			for i := range 50 {
				at := hot.Add(time.Duration(i) * time.Millisecond)
				w.say("t", at, 20)
				w.step(misdated("t", at, 20))
				w.step(uncertain("t", at, 20))
				w.stamped("t", at, at.Add(9*time.Minute), 85, farm.FaultCode)
			}
		},
	}
	for name, between := range cases {
		t.Run(name, func(t *testing.T) {
			w := watching(nursery(farm.Living, "red"))
			for at := t0; at.Before(hot); at = at.Add(time.Minute) {
				w.stamped("t", at, at.Add(-slow), 20, farm.NoDoubt)
			}
			between(w)
			first := farm.Reading{Probe: "t", At: hot.Add(time.Minute - slow), Value: 39, Stamped: true}
			if w.state.Late(first) {
				t.Error("the first stamped reading afterwards is late")
			}
			for at := hot.Add(time.Minute); at.Before(hot.Add(time.Hour)); at = at.Add(time.Minute) {
				w.stamped("t", at, at.Add(-slow), 39, farm.NoDoubt)
			}
			got := w.of(farm.TooHot)
			if len(got) == 0 || got[0].Change != farm.Raised || got[0].At.Sub(hot) > 50*time.Minute {
				t.Errorf("got %+v, want the heat told after its patience", briefs(got))
			}
			if !w.state.Late(first) {
				t.Error("the same stamped reading once more is not late")
			}
		})
	}
}

// A device that has kept hours says one thing before its clock is set, then all
// that it has kept.
func TestWhatADeviceKeptFollowsAnUndatedWord(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	boot := t0.Add(12 * time.Hour)
	w.say("t", boot, 20)
	for at := t0; at.Before(boot); at = at.Add(10 * time.Minute) {
		w.stamped("t", boot.Add(at.Sub(t0)/10_000), at, 39, farm.NoDoubt)
	}
	if got := w.state.Look(boot).Bins[0].Zones[0].Level(farm.Temperature); got.Value != 39 {
		t.Errorf("got %+v, want the level that its stamps tell", got)
	}
	for at := boot.Add(time.Minute); at.Before(boot.Add(time.Hour)); at = at.Add(10 * time.Minute) {
		w.stamped("t", at, at, 39, farm.NoDoubt)
	}
	if got := w.of(farm.TooHot); len(got) == 0 || got[0].At.Sub(boot) > 45*time.Minute {
		t.Errorf("got %+v, want the heat told after the patience that begins at the boot", briefs(got))
	}
}

func misdated(probe string, at time.Time, v float64) farm.Event {
	return farm.Event{Kind: farm.EventReading, Arrived: at, Reading: farm.Reading{Probe: probe, At: at, Raw: v, Value: v, Misdated: true}}
}

func uncertain(probe string, at time.Time, v float64) farm.Event {
	return farm.Event{Kind: farm.EventReading, Arrived: at, Reading: farm.Reading{Probe: probe, At: at, Raw: v, Value: v, Uncertain: true}}
}

// The last word of a pour stands until a reading of a true time comes, which then
// stands alone: a day-old value has no vote.
func TestTheLastWordOfAPourStandsUntilALiveOne(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	w.hold("m", t0, t0.Add(2*time.Hour), 76)
	later := t0.Add(48 * time.Hour)
	for i := range 100 {
		w.step(uncertain("m", later.Add(time.Duration(i)*time.Millisecond), 50+float64(i)/10))
	}
	level := func(at time.Time) float64 { return w.state.Look(at).Bins[0].Zones[0].Level(farm.Moisture).Value }
	if got := level(later.Add(time.Second)); got != 59.9 {
		t.Errorf("got level %v after the pour, want its last word, 59.9", got)
	}
	w.say("m", later.Add(10*time.Minute), 70)
	if got := level(later.Add(11 * time.Minute)); got != 70 {
		t.Errorf("got level %v after the first live one, want 70", got)
	}
}

// A jot that waited for hours was done some time before it came: it is kept and
// counted, the lid is not off now, and nothing is learned from its time.
func TestAJotOfUncertainTime(t *testing.T) {
	for _, unsure := range []bool{false, true} {
		w := watching(nursery(farm.Living, "red"))
		at := w.days(t0, 3, 20, 60)
		w.jot(at, farm.Jot{Zone: "near", What: farm.Watered, Litres: 3, Uncertain: unsure})
		z := w.state.Look(at.Add(time.Minute)).Bins[0].Zones[0]
		if off := z.LidOff != nil; off == unsure {
			t.Errorf("uncertain %v: lid off %v", unsure, off)
		}
		if z.Water == nil || z.Water.GivenLitres != 3 {
			t.Errorf("uncertain %v: got %+v, want the 3 litres counted", unsure, z.Water)
		}
		for range 5 { // a pace of learning that is the learner's own
			at = w.days(at.Add(20*time.Minute), 2, 20, 66)
			at = w.days(at, 3, 20, 60)
			w.jot(at, farm.Jot{Zone: "near", What: farm.Watered, Litres: 3, Uncertain: unsure})
		}
		at = w.days(at.Add(20*time.Minute), 1, 20, 66)
		from := husbandry.Learned
		if unsure {
			from = husbandry.Guess
		}
		if z := w.state.Look(at).Bins[0].Zones[0]; z.Water == nil || z.Water.DryMassFrom != from {
			t.Errorf("uncertain %v: got %+v, want the dry mass %s", unsure, z.Water, from)
		}
	}
}

// What a device kept and hands over all at once is as old as its stamps say: a
// level that was believed hours before the last word of the probe is not fresh.
func TestABelievedLevelOfHoursAgoIsNotFresh(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	arrived := t0.Add(24 * time.Hour)
	for at := t0; at.Before(arrived); at = at.Add(10 * time.Minute) {
		v, doubt := 21.0, farm.NoDoubt
		if arrived.Sub(at) <= 5*time.Hour {
			v, doubt = 33, farm.TooFast
		}
		w.stamped("t", arrived, at, v, doubt)
	}
	z := w.state.Look(arrived.Add(time.Minute)).Bins[0].Zones[0]
	if z.Level(farm.Temperature) == nil || z.Level(farm.Temperature).Fresh || len(z.Species) > 0 {
		t.Errorf("got %+v and species %v, want a level that is not fresh and nobody said to thrive", z.Level(farm.Temperature), z.Species)
	}
	w.stamped("t", arrived.Add(10*time.Minute), arrived.Add(10*time.Minute), 22, farm.NoDoubt)
	if z := w.state.Look(arrived.Add(11 * time.Minute)).Bins[0].Zones[0]; !z.Level(farm.Temperature).Fresh {
		t.Errorf("got %+v of what was believed just now, want it fresh", z.Level(farm.Temperature))
	}
}

// The pace of a probe that speaks all the time is said in words, too.
func TestHowOftenAFastProbeSpeaks(t *testing.T) {
	for every, want := range map[time.Duration]string{
		200 * time.Millisecond: "speaks several times a second (every: 10m)",
		time.Second:            "speaks every second (every: 10m)",
		10 * time.Second:       "speaks every 10 seconds (every: 10m)",
	} {
		w := watching(nursery(farm.Living, "red"))
		for at := t0; at.Before(t0.Add(5 * time.Minute)); at = at.Add(every) {
			w.say("t", at, 20)
		}
		for _, p := range w.state.Look(t0.Add(5 * time.Minute)).Probes {
			if p.ID == "t" && p.Pace != want {
				t.Errorf("a number each %s: got %q, want %q", every, p.Pace, want)
			}
		}
	}
}
