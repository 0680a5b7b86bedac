package rules_test

import (
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// drying dries the far end from one moisture to another, points a day, and
// gives the end.
func (w *watched) drying(from time.Time, pct, to, perDay float64) time.Time {
	at := from
	for ; pct > to; at = at.Add(20 * time.Minute) {
		w.say("far", at, pct)
		pct -= perDay / 72
	}
	return at
}

// standing is what stands raised of a condition, nil when nothing does.
func (w *watched) standing(at time.Time, c farm.Condition) *farm.Standing {
	for _, s := range w.state.Look(at).Standing {
		if s.Condition == c {
			return &s
		}
	}
	return nil
}

// usSifter is a sifting end of 21 gallons in a farm that reads gallons.
func usSifter() *farm.Farm {
	f := sifter()
	const gallon = 3.785411784 // L
	f.Units = farm.US
	f.Bins[0].VolumeL = 42 * gallon
	f.Bins[0].Zones[0].Share, f.Bins[0].Zones[1].Share = 0.5, 0.5
	return f
}

// A zone is sifted a few pans at a time: the first one ends nothing.
func TestAPanSiftedDoesNotEndTheSifting(t *testing.T) {
	const gallon = 3.785411784
	w := watching(usSifter())
	at := w.drying(t0, 50, 44, 3)
	if w.standing(at, farm.SiftReady) == nil {
		t.Fatal("it is not ready at 44 %; the test shows nothing")
	}
	for i, want := range []string{"About 3 of 21 gallons sifted", "About 6 of 21 gallons sifted", "About 9 of 21 gallons sifted"} {
		w.jot(at, farm.Jot{Zone: "far", What: farm.Sifted, Litres: 3 * gallon, To: "crate"})
		got := w.standing(at.Add(time.Minute), farm.SiftReady)
		if got == nil || !strings.Contains(got.Text, want) {
			t.Fatalf("after pan %d got %+v, want it to stand and say %q", i+1, got, want)
		}
		at = w.drying(at.Add(2*time.Hour), 44-float64(i)/2, 43.5-float64(i)/2, 3)
	}
	at = w.drying(at, 42, 33, 3)
	passing := w.of(farm.SiftPassing)
	if len(passing) == 0 || passing[0].Change != farm.Raised || !strings.Contains(passing[0].Text, "About 9 of 21 gallons sifted") {
		t.Errorf("got %+v, want to hear that the window closes on what is left", passing)
	}
	w.drying(at, 33, 27, 3)
	if got := w.of(farm.TooDry); len(got) == 0 || got[0].Urgency != farm.Now {
		t.Errorf("got %+v, want what is left told too dry", got)
	}
	for _, ch := range w.of(farm.SiftReady) {
		if ch.Change == farm.Eased && !strings.Contains(ch.Text, "too dry") {
			t.Errorf("eased with %q; only its drying ended the window", ch.Text)
		}
	}
}

// The keeper's word ends a window, and so does emptying; the next one begins
// from above.
func TestTheKeepersWordEndsTheSifting(t *testing.T) {
	for _, what := range []farm.JotKind{farm.Finished, farm.Emptied} {
		t.Run(string(what), func(t *testing.T) {
			w := watching(sifter())
			at := w.drying(t0, 50, 40, 3)
			w.jot(at, farm.Jot{Zone: "far", What: what})
			got := w.of(farm.SiftReady)
			if last := got[len(got)-1]; last.Change != farm.Eased {
				t.Fatalf("got %+v, want it eased", last)
			}
			at = w.drying(at.Add(2*time.Hour), 40, 36, 3)
			for _, c := range []farm.Condition{farm.SiftReady, farm.SiftPassing} {
				if s := w.standing(at, c); s != nil {
					t.Errorf("%s stands after the keeper's word: %s", c, s.Text)
				}
			}
			at = w.drying(at.Add(time.Hour), 55, 42, 3) // new stuff is pushed in and dries
			if s := w.standing(at, farm.SiftReady); s == nil || strings.Contains(s.Text, "sifted") {
				t.Errorf("got %+v, want a window of its own for what is new", s)
			}
		})
	}
}

func TestSiftingsOfOtherKindsAreSaid(t *testing.T) {
	for _, tt := range []struct {
		name string
		jots []farm.Jot
		want string
	}{
		{"no amount", []farm.Jot{{Zone: "far"}}, "Sifted once so far."},
		{"no amounts", []farm.Jot{{Zone: "far"}, {Zone: "far"}}, "Sifted twice so far."},
		{"some with an amount", []farm.Jot{{Zone: "far", Litres: 8}, {Zone: "far"}}, "About 8 of 100 litres sifted, and once without an amount."},
		{"more than it holds", []farm.Jot{{Zone: "far", Litres: 130}}, "About 130 litres sifted so far."},
		{"the bin named alone", []farm.Jot{{Litres: 8, To: "crate"}}, "About 8 of 100 litres sifted."},
		{"after the keeper's word", []farm.Jot{{Zone: "far", What: farm.Finished}, {Zone: "far", Litres: 8}}, "About 8 of 100 litres sifted."},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := watching(sifter())
			at := w.drying(t0, 50, 42, 3)
			for _, j := range tt.jots {
				if j.What == "" {
					j.What = farm.Sifted
				}
				w.jot(at, j)
				at = at.Add(5 * time.Minute)
			}
			at = w.drying(at.Add(2*time.Hour), 42, 41, 3)
			if s := w.standing(at, farm.SiftReady); s == nil || !strings.Contains(s.Text, tt.want) {
				t.Errorf("got %+v, want it to stand and say %q", s, tt.want)
			}
		})
	}
}

// What was sifted or finished before this window says nothing of it.
func TestAJotOfAnEarlierWindowEndsNothing(t *testing.T) {
	w := watching(sifter())
	at := w.drying(t0, 55, 42, 1)
	for _, j := range []farm.Jot{{What: farm.Sifted, Litres: 8}, {What: farm.Finished}} {
		j.Bin, j.Zone, j.At = "bed", "far", t0.Add(time.Hour)
		w.step(farm.Event{Kind: farm.EventJot, Arrived: at, Jot: j})
	}
	at = w.drying(at, 42, 41, 3)
	if s := w.standing(at, farm.SiftReady); s == nil || strings.Contains(s.Text, "sifted") {
		t.Errorf("got %+v, want the window untouched", s)
	}
}

// Said of the bin alone, a sifting came out of the zone that is fit for it.
func TestSiftedFromTheZoneThatIsFit(t *testing.T) {
	f := sifter()
	f.Probes = append(f.Probes, farm.Probe{ID: "wet", Measures: farm.Moisture, Unit: farm.Percent, Every: 10 * time.Minute})
	f.Bins[0].Zones = append(f.Bins[0].Zones, zoneSpec("wet", farm.Sifting, "wet"))
	w := watching(f)
	w.hold("wet", t0, t0.Add(20*time.Minute), 60)
	at := w.drying(t0.Add(time.Hour), 50, 42, 3)
	w.jot(at, farm.Jot{What: farm.Sifted, Litres: 8, To: "crate/all"})
	if s := w.standing(at, farm.SiftReady); s == nil || !strings.Contains(s.Text, "About 8 of 100 litres sifted") {
		t.Errorf("got %+v, want all of it taken off the zone that is fit", s)
	}
	if got := w.state.Look(at).Bins[1].Zones[0].StoredL; got != 8 {
		t.Errorf("got %v L in the crate, want 8", got)
	}
}

// What the keeper does each time is filled in: the last amount, the last tub,
// and the only tub there is before the first.
func TestTheUsualSiftingIsAdvised(t *testing.T) {
	w := watching(sifter())
	at := w.drying(t0, 50, 42, 3)
	if a := w.standing(at, farm.SiftReady).Advice; a.SiftTo != "crate" || a.SiftLitres != 0 {
		t.Errorf("got %+v, want the only tub and no amount before the first sifting", a)
	}
	w.jot(at, farm.Jot{Zone: "far", What: farm.Sifted, Litres: 8, To: "crate"})
	w.jot(at, farm.Jot{Zone: "far", What: farm.Sifted})
	w.wrote(at, at.Add(-20*day), farm.Jot{Zone: "far", What: farm.Sifted, Litres: 3}) // remembered late
	if a := w.standing(at, farm.SiftReady).Advice; a.SiftTo != "crate" || a.SiftLitres != 8 {
		t.Errorf("got %+v, want the usual 8 L to the crate", a)
	}
}

// A level that has just passed the end of the window is not written as that end.
func TestTheEndOfTheWindowIsNotItsLevel(t *testing.T) {
	w := watching(sifter())
	at := w.drying(t0, 50, 36, 3)
	at = w.drying(at, 36, 34.9, 0.5)
	at = w.drying(at, 34.9, 34.7, 0.1) // the level follows, and patience is over
	st := w.standing(at, farm.SiftPassing)
	if st == nil || !strings.Contains(st.Text, ", below 35 %") || strings.Contains(st.Text, ": 35 %") {
		t.Errorf("got %+v, want the window closed at a level that is not written as 35 %%", st)
	}
	for _, c := range w.of(farm.SiftReady) {
		if strings.Contains(c.Text, ": 35 %, too dry") {
			t.Errorf("got %q", c.Text)
		}
	}
}
