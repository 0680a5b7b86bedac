package rules_test

import (
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/rules"
)

// under gives the state as it is taken over by another configuration, and what
// that ended.
func (w *watched) under(t *testing.T, f *farm.Farm) (later *watched, gone []farm.Change) {
	t.Helper()
	saved, err := w.state.Save()
	if err != nil {
		t.Fatal(err)
	}
	s, err := rules.Restore(f, saved, farm.Renames{})
	if err != nil {
		t.Fatal(err)
	}
	last := map[string]farm.Change{}
	var standing []farm.Change
	for _, ch := range w.changes {
		last[ch.Episode] = ch
	}
	for _, ch := range w.changes {
		if last[ch.Episode].At.Equal(ch.At) && last[ch.Episode].Change == ch.Change && ch.Change != farm.Eased {
			standing = append(standing, ch)
		}
	}
	later = &watched{state: s}
	return later, s.Reconcile(standing)
}

// dryBed is a bed that has been too dry for hours.
func dryBed(t *testing.T) *watched {
	t.Helper()
	w := watching(nursery(farm.Living, "red"))
	w.hold("m", t0, t0.Add(2*time.Hour), 66)
	if got := only(t, w.of(farm.TooDry)); got.Change != farm.Raised {
		t.Fatalf("got %+v, want it raised", got)
	}
	return w
}

// What a changed configuration ends is said to be watched no more, once, and
// never to be over: nothing has got better in the bin.
func TestWhatIsNoLongerWatchedIsNotOver(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*farm.Farm)
		says   string
	}{
		"bin renamed":            {func(f *farm.Farm) { f.Bins[0].Name = "linden" }, "Bed is no longer in the configuration; what was told of it is not watched any more."},
		"zone renamed":           {func(f *farm.Farm) { f.Bins[0].Zones[0].Name = "front" }, "Bed, near is no longer in the configuration; what was told of it is not watched any more."},
		"probe moved away":       {func(f *farm.Farm) { f.Bins[0].Zones[0].Probes = []string{"t"} }, "Bed is not watched for this any more (too-dry): no probe measures moisture there now. How it is there is not known."},
		"moisture no more asked": {func(f *farm.Farm) { f.Probes[1].Measures = farm.Temperature }, "Bed is not watched for this any more (too-dry): no probe measures moisture there now. How it is there is not known."},
	} {
		t.Run(name, func(t *testing.T) {
			f := nursery(farm.Living, "red")
			c.change(f)
			later, gone := dryBed(t).under(t, f)
			got := only(t, gone)
			if got.Change != farm.Eased || got.Ended != farm.Unwatched || got.Text != c.says {
				t.Errorf("got %s, ended %q: %q, want eased, %q: %q", got.Change, got.Ended, got.Text, farm.Unwatched, c.says)
			}
			for _, st := range later.state.Look(t0.Add(2 * time.Hour)).Standing {
				if st.Condition == farm.TooDry {
					t.Errorf("got %+v, want it to stand no more", st)
				}
			}
			if again := later.state.Reconcile(nil); len(again) != 0 {
				t.Errorf("got %+v, want it said once", again)
			}
		})
	}
}

// A zone that is for something else now cannot heat by its feed or want food.
func TestAnotherAimEndsWhatItCannotHave(t *testing.T) {
	told := func(c farm.Condition) farm.Change {
		return farm.Change{At: t0, Bin: "bed", Zone: "near", Condition: c, Change: farm.Raised, Urgency: farm.Today, Episode: string(c), Text: "x"}
	}
	for _, c := range []struct {
		aim  farm.Aim
		ends []farm.Condition
	}{
		{farm.Keeping, []farm.Condition{farm.Heating, farm.FeedDue, farm.SiftReady}},
		{farm.Sifting, []farm.Condition{farm.Heating, farm.FeedDue, farm.Drying, farm.TooWet}},
		{farm.Living, []farm.Condition{farm.SiftReady, farm.Hatching}},
	} {
		s := rules.New(nursery(c.aim, "red"))
		s.Step(farm.Event{Kind: farm.EventTick, Arrived: t0})
		standing := []farm.Change{told(farm.TooHot), told(farm.TooDry)}
		for _, e := range c.ends {
			standing = append(standing, told(e))
		}
		var ended []farm.Condition
		for _, ch := range s.Reconcile(standing) {
			ended = append(ended, ch.Condition)
			if ch.Ended != farm.Unwatched || !strings.Contains(ch.Text, "its aim is "+string(c.aim)+" now") {
				t.Errorf("%s: got %q (%s), want it to name the aim", c.aim, ch.Text, ch.Ended)
			}
		}
		if len(ended) != len(c.ends) {
			t.Errorf("%s: ended %v, want %v", c.aim, ended, c.ends)
		}
	}
}

// A probe that sits elsewhere is the same probe: what is wrong with it goes on.
func TestAMovedProbeTakesItsTroubleAlong(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	w.hold("m", t0, t0.Add(3*time.Hour), 75)
	raised := w.of(farm.Silent)
	if len(raised) == 0 {
		t.Fatal("nothing is silent, want t, which has never spoken")
	}
	f := nursery(farm.Living, "red")
	f.Bins[0].Zones[0].Probes = []string{"m"}
	f.Bins = append(f.Bins, farm.Bin{Name: "tower", Species: f.Bins[0].Species, VolumeL: 50, Zones: []farm.Zone{zoneSpec("top", farm.Living, "t")}})
	later, gone := w.under(t, f)
	for _, ch := range gone {
		if ch.Condition == farm.Silent {
			t.Errorf("got %+v, want the silence to go on", ch)
		}
	}
	later.say("t", t0.Add(3*time.Hour+time.Minute), 20)
	for _, ch := range later.of(farm.Silent) {
		if ch.Probe == "t" && (ch.Change != farm.Eased || ch.Bin != "tower" || ch.Ended != "") {
			t.Errorf("got %+v, want it to speak again in the tower", ch)
		}
	}
}

// Limits that are moved so that what stands is well by them end it in words of
// their own; a bin that got better under other limits is better.
func TestOtherLimitsAreNotABetterBin(t *testing.T) {
	lower := nursery(farm.Living, "red")
	lower.Bins[0].Zones[0].Bands = map[farm.Quantity]farm.Bands{farm.Moisture: farm.Bands{Thrive: farm.Band{Low: 60, High: 85}, Survive: farm.Band{Low: 50, High: 90}}}

	later, gone := dryBed(t).under(t, lower)
	if len(gone) != 0 {
		t.Fatalf("got %+v, want nothing gone", gone)
	}
	later.hold("m", t0.Add(2*time.Hour), t0.Add(4*time.Hour), 66)
	got := only(t, later.of(farm.TooDry))
	if want := "Bed is not too dry by the limits now in force: 66 %."; got.Ended != farm.Relimited || got.Text != want {
		t.Errorf("got %q (%q), want %q", got.Text, got.Ended, want)
	}

	alittle := nursery(farm.Living, "red")
	alittle.Bins[0].Zones[0].Bands = map[farm.Quantity]farm.Bands{farm.Moisture: farm.Bands{Thrive: farm.Band{Low: 65, High: 85}, Survive: farm.Band{Low: 50, High: 90}}}
	later, _ = dryBed(t).under(t, alittle)
	later.hold("m", t0.Add(2*time.Hour), t0.Add(20*time.Hour), 75)
	if got := only(t, later.of(farm.TooDry)); got.Ended != "" || !strings.HasPrefix(got.Text, "Bed is no longer too dry") {
		t.Errorf("got %q (%q), want it over: it was watered", got.Text, got.Ended)
	}

	later, _ = dryBed(t).under(t, nursery(farm.Living, "red"))
	later.hold("m", t0.Add(2*time.Hour), t0.Add(20*time.Hour), 75)
	if got := only(t, later.of(farm.TooDry)); got.Ended != "" {
		t.Errorf("got %q (%q), want it over: the limits are the same", got.Text, got.Ended)
	}
}
