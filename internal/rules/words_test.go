package rules_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// raised finds what is raised of a condition when somebody looks at a time.
func (w *watched) raised(t *testing.T, c farm.Condition, at time.Time) farm.Standing {
	t.Helper()
	for _, st := range w.state.Look(at).Standing {
		if st.Condition == c {
			return st
		}
	}
	t.Fatalf("%s: no %s is raised", at, c)
	return farm.Standing{}
}

// What is said of a condition and the number beside it come from one moment,
// every minute of a day on which the bed dries out, is watered and dries on.
func TestWordsAndNumbersAreOfOneMoment(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	looks, wet := 0, 74.0
	for at := t0; at.Before(t0.Add(36 * time.Hour)); at = at.Add(10 * time.Minute) {
		w.say("t", at, 20)
		w.say("m", at.Add(time.Second), wet)
		wet -= 0.09
		v := w.state.Look(at.Add(time.Minute))
		z := v.Bins[0].Zones[0]
		for _, st := range v.Standing {
			if st.Condition != farm.TooDry {
				continue
			}
			looks++
			said := v.Units.Moisture(z.Level(farm.Moisture).Value)
			if !strings.Contains(st.Text, strings.TrimSuffix(said, " %")) {
				t.Errorf("%s: %q beside %s", at.Sub(t0), st.Text, said)
			}
			if z.Water == nil || st.Advice.WaterLitres != z.Water.WaterLitres {
				t.Errorf("%s: told %v beside %v", at.Sub(t0), st.Advice, z.Water)
			}
		}
	}
	if looks < 60 {
		t.Errorf("only %d looks found the bed too dry", looks)
	}
}

// After an outage the first look shows one moment, however old the last words
// are.
func TestWordsAfterAnOutage(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	w.hold("m", t0, t0.Add(3*time.Hour), 69.6)
	if got := w.raised(t, farm.TooDry, t0.Add(3*time.Hour)).Text; !strings.Contains(got, "is too dry at 69.6 %") && !strings.Contains(got, "is too dry at 70") {
		t.Fatalf("before: %q", got)
	}
	back := t0.Add(40 * time.Hour)
	quiet := w.raised(t, farm.TooDry, back.Add(-time.Minute))
	if !strings.Contains(quiet.Text, "was too dry when last heard, 37 hours ago") && !strings.Contains(quiet.Text, "was too dry when last heard, 2 days ago") {
		t.Errorf("in the outage: %q", quiet.Text)
	}
	if !strings.Contains(quiet.Advice.Do, "See how it is first") {
		t.Errorf("in the outage: %q", quiet.Advice.Do)
	}
	if z := w.state.Look(back.Add(-time.Minute)).Bins[0].Zones[0]; z.Water != nil {
		t.Errorf("in the outage a dose is shown: %+v", z.Water)
	}
	w.say("m", back, 62)
	if got := w.raised(t, farm.TooDry, back).Text; !strings.Contains(got, "is too dry at 62 %") {
		t.Errorf("after it: %q", got)
	}
}

// A limit that is back inside, and not yet for long enough, is neither "too
// dry" nor over.
func TestWordsOfWhatIsNearlyOver(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	w.hold("t", t0, t0.Add(2*time.Hour), 27)
	w.hold("t", t0.Add(2*time.Hour), t0.Add(6*time.Hour), 24.8)
	want := "Bed is only just no longer too hot, at 24.8 °C; it counts as over from 24.5 °C on."
	if got := w.raised(t, farm.TooHot, t0.Add(6*time.Hour)).Text; !strings.HasPrefix(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}

// While the lid is off what is raised is spoken of as before it was opened: the
// probe may lie on the bench.
func TestWordsWhileTheLidIsOff(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	w.hold("m", t0, t0.Add(2*time.Hour), 64)
	w.jot(t0.Add(2*time.Hour), farm.Jot{What: farm.Watered, Litres: 2})
	w.hold("m", t0.Add(2*time.Hour+time.Minute), t0.Add(2*time.Hour+40*time.Minute), 21)
	at := t0.Add(2*time.Hour + 40*time.Minute)
	st := w.raised(t, farm.TooDry, at)
	if want := "Bed was too dry before it was opened; it is judged again from 11:00 on."; st.Text != want {
		t.Errorf("got %q, want %q", st.Text, want)
	}
	if a := st.Advice; a.VisitLitres != 0 || a.WaterLitres > 40 || a.Wait == nil || !strings.HasPrefix(a.Do, "2 litres given at 10:00; look again tomorrow.") || st.Forecast != nil {
		t.Errorf("with the lid off it goes on advising: %+v", st.Advice)
	}
	v := w.state.Look(at)
	if got := fmt.Sprint(v.Unsure(farm.Dates{Location: time.UTC})); !strings.Contains(got, "Bed was opened and is judged again from 11:00 on.") {
		t.Errorf("unsure: %s", got)
	}
}

// Nothing is fine before it is known, nor while a limit is past for less than
// patience.
func TestUnsure(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	unsure := func(at time.Time) string {
		v := w.state.Look(at)
		v.Intake = farm.IntakeView{Running: true, Connected: true}
		return strings.Join(v.Unsure(farm.Dates{Location: time.UTC}), "\n")
	}
	for _, step := range []struct {
		say   func()
		after time.Duration
		want  string
	}{
		{func() {}, 0, "Bed can't be judged: no reading has come yet."},
		{func() { w.say("t", t0, 20) }, time.Minute, "Bed can't be judged by its moisture: no reading has come yet."},
		{func() { w.doubt("m", t0, 99, farm.FaultCode) }, time.Minute, "Bed can't be judged by its moisture: no reading is believed."},
		{func() {
			w.hold("m", t0.Add(time.Minute), t0.Add(20*time.Minute), 60)
			w.say("m", t0.Add(20*time.Minute), 60)
		}, 20 * time.Minute,
			"Bed has been too dry for 19 minutes; it is raised at 08:31 if it stays so."},
		{func() {
			w.hold("t", t0.Add(20*time.Minute), t0.Add(2*time.Hour), 20)
			w.hold("m", t0.Add(21*time.Minute), t0.Add(2*time.Hour), 60)
		}, 2 * time.Hour, ""},
		{func() {}, 2*time.Hour + 45*time.Minute, "Bed can't be judged: no fresh reading."},
	} {
		step.say()
		if got := unsure(t0.Add(step.after)); got != step.want {
			t.Errorf("after %s: got %q, want %q", step.after, got, step.want)
		}
	}
}

// A probe takes ice for dryness, and water that is poured on it freezes.
func TestNoWaterNearFreezing(t *testing.T) {
	for _, tt := range []struct {
		tempC float64
		pours bool
	}{{-3, false}, {0.6, false}, {1.9, false}, {2.1, true}, {8, true}, {20, true}, {34, true}} {
		for _, aim := range []farm.Aim{farm.Living, farm.Keeping} {
			w := watching(nursery(aim, "red"))
			w.days(t0, 1, tt.tempC, 31)
			at := t0.Add(day)
			st := w.raised(t, farm.TooDry, at)
			pours := st.Advice.WaterLitres > 0 && strings.Contains(st.Advice.Do, "begin with")
			if pours != tt.pours {
				t.Errorf("%s at %g °C: told %+v", aim, tt.tempC, st.Advice)
			}
			if water := w.state.Look(at).Bins[0].Zones[0].Water; (water != nil) != tt.pours {
				t.Errorf("%s at %g °C: shown %+v", aim, tt.tempC, water)
			}
			quiet := w.raised(t, farm.TooDry, at.Add(3*time.Hour)) // the last that was heard still counts
			if pours := quiet.Advice.WaterLitres > 0; pours != tt.pours {
				t.Errorf("%s at %g °C, three hours ago: told %+v", aim, tt.tempC, quiet.Advice)
			}
		}
	}
}

// What is said of a probe that is not believed goes with the number beside it,
// and a probe that is believed again is not said to be wrong.
func TestWordsOfASuspectProbe(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	w.hold("t", t0, t0.Add(time.Hour), 20)
	at := t0.Add(time.Hour)
	for i, v := range []float64{85, 85, 127} {
		w.doubt("t", at.Add(time.Duration(i)*10*time.Minute), v, farm.FaultCode)
		look := at.Add(time.Duration(i)*10*time.Minute + time.Minute)
		if got, want := w.raised(t, farm.Suspect, look).Text, fmt.Sprintf("(it says %g °C)", v); !strings.Contains(got, want) {
			t.Errorf("%q does not say %q", got, want)
		}
	}
	w.say("t", at.Add(30*time.Minute), 20.5)
	want := "Probe t (Bed) was not believed 11 minutes ago: fault code (it said 127 °C). What it says now is believed; this is over when that lasts."
	if got := w.raised(t, farm.Suspect, at.Add(31*time.Minute)).Text; got != want {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}
