package rules_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
)

func TestSilence(t *testing.T) {
	const h, m = time.Hour, time.Minute
	t.Run("after three times every, eased by the next reading", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		w.hold("t", t0, t0.Add(h), 20)
		w.say("t", t0.Add(3*h), 20)
		var got []farm.Change
		for _, ch := range w.of(farm.Silent) {
			if ch.Probe == "t" {
				got = append(got, ch)
			}
		}
		// The last reading is at 50 minutes; more than 30 minutes later is the tick at 81.
		want := []brief{{81 * m, farm.Raised, farm.Today}, {3 * h, farm.Eased, farm.Today}}
		if diff := cmp.Diff(want, briefs(got)); diff != "" {
			t.Errorf("silent (-want +got):\n%s", diff)
		}
		if got[0].Bin != "bed" || got[0].Zone != "near" {
			t.Errorf("got place %q/%q, want bed/near", got[0].Bin, got[0].Zone)
		}
	})
	t.Run("a restart does not shorten what is said of it", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		w.hold("t", t0, t0.Add(h), 20)
		w.step(farm.Event{Kind: farm.EventTick, Arrived: t0.Add(3 * h)})
		again := t0.Add(50*m + 9*h)
		w.step(farm.Event{Kind: farm.EventStart, Arrived: again})
		for _, s := range w.state.Look(again).Standing {
			if s.Probe == "t" && s.Condition == farm.Silent {
				if !strings.Contains(s.Text, "has said nothing for 9 hours") {
					t.Errorf("got %q, want the nine hours", s.Text)
				}
				return
			}
		}
		t.Error("it is not silent")
	})
	t.Run("a time that nobody watched is no silence", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		w.hold("t", t0, t0.Add(h), 20)
		w.hold("m", t0.Add(h), t0.Add(h+m), 75)
		before := len(w.changes)
		w.step(farm.Event{Kind: farm.EventStart, Arrived: t0.Add(9 * h)})
		w.say("t", t0.Add(9*h+5*m), 20)
		if got := w.changes[before:]; len(got) != 0 {
			t.Errorf("got %+v, want nothing", got)
		}
	})
	t.Run("a doubted reading is no silence", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		for at := t0; at.Before(t0.Add(3 * h)); at = at.Add(10 * m) {
			w.doubt("t", at, 85, farm.FaultCode)
		}
		for _, ch := range w.of(farm.Silent) {
			if ch.Probe == "t" {
				t.Errorf("got %+v, want none for t", ch)
			}
		}
	})
	t.Run("connected, yet no probe speaks", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		w.step(farm.Event{Kind: farm.EventLink, Arrived: t0, Up: true})
		w.step(farm.Event{Kind: farm.EventTick, Arrived: t0.Add(4 * h)})
		got := w.of(farm.Silent)
		if len(got) != 3 {
			t.Fatalf("got %d silences, want all three probes", len(got))
		}
		last := got[len(got)-1]
		if !strings.Contains(last.Text, "though the broker is connected") {
			t.Errorf("text %q does not say that the broker is connected", last.Text)
		}
	})
}

func TestSuspicion(t *testing.T) {
	step := 10 * time.Minute
	t.Run("a fault code is suspect at once and never judges the bin", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		w.hold("t", t0, t0.Add(time.Hour), 20)
		for i := range 6 {
			w.doubt("t", t0.Add(time.Hour+time.Duration(i)*step), 85, farm.FaultCode)
		}
		got := only(t, w.of(farm.Suspect))
		if got.Change != farm.Raised || got.Urgency != farm.Soon || !strings.Contains(got.Text, "fault code") {
			t.Errorf("got %+v, want it raised soon with its reason", got)
		}
		if hot := w.of(farm.TooHot); len(hot) != 0 {
			t.Errorf("got %+v, want no judgement on doubted readings", hot)
		}
	})
	t.Run("three believed readings clear it", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		w.doubt("t", t0, -127, farm.FaultCode)
		w.hold("t", t0.Add(step), t0.Add(4*step), 20)
		want := []brief{{0, farm.Raised, farm.Soon}, {3 * step, farm.Eased, farm.Soon}}
		if diff := cmp.Diff(want, briefs(w.of(farm.Suspect))); diff != "" {
			t.Errorf("suspect (-want +got):\n%s", diff)
		}
	})
	t.Run("a step that is not believed at first is no suspicion", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		w.hold("t", t0, t0.Add(time.Hour), 20)
		for i := range 10 {
			w.doubt("t", t0.Add(time.Hour+time.Duration(i)*time.Minute), 24, farm.Spike)
		}
		if got := w.of(farm.Suspect); len(got) != 0 {
			t.Errorf("got %+v, want none for one spell of doubt", got)
		}
	})
	t.Run("one spike is a hiccup, three apart are not", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		for i := range 9 {
			at := t0.Add(time.Duration(i) * step)
			if i%3 == 2 {
				w.doubt("t", at, 29, farm.Spike)
			} else {
				w.say("t", at, 20)
			}
		}
		if diff := cmp.Diff([]brief{{8 * step, farm.Raised, farm.Soon}}, briefs(w.of(farm.Suspect))); diff != "" {
			t.Errorf("suspect (-want +got):\n%s", diff)
		}
	})
}

func TestBattery(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	for i, v := range []float64{3.6, 3.31, 3.29, 3.31, 3.4} {
		w.say("b", t0.Add(time.Duration(i)*time.Hour), v)
	}
	want := []brief{{2 * time.Hour, farm.Raised, farm.Soon}, {4 * time.Hour, farm.Eased, farm.Soon}}
	got := w.of(farm.BatteryLow)
	if diff := cmp.Diff(want, briefs(got)); diff != "" {
		t.Errorf("battery-low (-want +got):\n%s", diff)
	}
	if got[0].Bin != "bed" || !strings.Contains(got[0].Advice.Do, "for t") {
		t.Errorf("got %+v, want it to know whose battery it is", got[0])
	}
}

func TestReadingsOutOfOrderAreKeptNotJudged(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	w.hold("t", t0, t0.Add(time.Hour), 20)
	for i := range 12 { // a device empties its memory, an hour late
		at := t0.Add(-time.Duration(i) * 10 * time.Minute)
		w.step(farm.Event{Kind: farm.EventReading, Arrived: t0.Add(time.Hour), Reading: farm.Reading{Probe: "t", At: at, Value: 40, Stamped: true}})
	}
	w.hold("t", t0.Add(time.Hour), t0.Add(2*time.Hour), 20)
	if got := w.of(farm.TooHot); len(got) != 0 {
		t.Errorf("got %+v, want nothing", got)
	}
}

// What a broker pours out after an outage without time stamps must not outvote
// the present.
func TestABacklogWithoutTimesDoesNotOutvoteThePresent(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	w.hold("t", t0, t0.Add(time.Hour), 20)
	at := t0.Add(time.Hour)
	for i := range 100 {
		v := 31.0 // it was hot in the night
		if i > 90 {
			v = 20
		}
		w.step(farm.Event{Kind: farm.EventReading, Arrived: at, Reading: farm.Reading{Probe: "t", At: at, Value: v, Uncertain: true}})
	}
	w.hold("t", at.Add(10*time.Minute), at.Add(3*time.Hour), 20)
	if got := w.of(farm.TooHot); len(got) != 0 {
		t.Errorf("got %+v, want nothing", got)
	}
}

func TestARetainedValueIsShownButIsNoSignOfLife(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	w.step(farm.Event{Kind: farm.EventReading, Arrived: t0, Reading: farm.Reading{Probe: "t", At: t0, Value: 40, Retained: true}})
	w.step(farm.Event{Kind: farm.EventTick, Arrived: t0.Add(2 * time.Hour)})
	v := w.state.Look(t0.Add(2 * time.Hour))
	if p := v.Probes[0]; p.Value == nil || *p.Value != 40 || p.Fresh {
		t.Errorf("got %+v, want 40 shown and not fresh", p)
	}
	if v.Bins[0].Zones[0].Unjudged == "" {
		t.Error("a zone with nothing but a retained value must say that it can't be judged")
	}
	if len(w.of(farm.TooHot)) != 0 || len(w.of(farm.Silent)) != 2 { // the battery speaks once an hour
		t.Errorf("got %+v, want silence and nothing judged", w.changes)
	}
}

func TestTheMedianOfSeveralProbes(t *testing.T) {
	f := nursery(farm.Living, "red")
	for _, id := range []string{"t2", "t3"} {
		f.Probes = append(f.Probes, farm.Probe{ID: id, Measures: farm.Temperature, Unit: farm.Celsius, Every: 10 * time.Minute})
	}
	f.Bins[0].Zones[0].Probes = []string{"t", "t2", "t3", "m"}
	w := watching(f)
	for at := t0; at.Before(t0.Add(2 * time.Hour)); at = at.Add(10 * time.Minute) {
		w.say("t", at, 20)
		w.say("t2", at.Add(time.Second), 40)
		w.say("t3", at.Add(2*time.Second), 21)
	}
	if got := w.state.Look(t0.Add(2 * time.Hour)).Bins[0].Zones[0].Level(farm.Temperature).Value; got != 21 {
		t.Errorf("got level %v, want the median 21", got)
	}
}

// A zone in which one of two probes has fallen silent is judged by the other.
func TestASilentProbeDoesNotVote(t *testing.T) {
	f := nursery(farm.Living, "red")
	f.Probes = append(f.Probes, farm.Probe{ID: "t2", Measures: farm.Temperature, Unit: farm.Celsius, Every: 10 * time.Minute})
	f.Bins[0].Zones[0].Probes = []string{"t", "t2", "m"}
	w := watching(f)
	w.say("t2", t0, 10)
	w.hold("t", t0.Add(time.Minute), t0.Add(2*time.Hour), 20)
	if got := w.state.Look(t0.Add(2 * time.Hour)).Bins[0].Zones[0].Level(farm.Temperature).Value; got != 20 {
		t.Errorf("got level %v, want 20", got)
	}
}
