package rules_test

import (
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/rules"
)

// From its day on a zone is judged no more: what was raised there ends as watched no more,
// once, at the first minute, and nothing is raised again, whatever its probes say or do
// not say. Up to then it was judged as ever.
func TestARetiredZoneIsJudgedNoMore(t *testing.T) {
	f := nursery(farm.Living, "red")
	day := t0.Truncate(24 * time.Hour).Add(24 * time.Hour)
	f.Bins[0].Zones[0].Retired = day
	w := watching(f)
	w.hold("m", t0, t0.Add(2*time.Hour), 66)
	w.say("b", t0, 3.0)
	w.step(farm.Event{Kind: farm.EventTick, Arrived: day.Add(-time.Minute)})
	before := len(w.changes)
	raised := w.state.Look(day.Add(-time.Minute)).Standing
	if len(raised) < 3 || len(w.state.Look(day.Add(-time.Minute)).Retired) != 0 {
		t.Fatalf("got %+v, want it dry, and its battery low and its probes silent", raised)
	}
	w.hold("m", day.Add(5*time.Minute), day.Add(30*time.Hour), 20)
	w.doubt("m", day.Add(31*time.Hour), 140, farm.OutOfRange)
	w.say("b", day.Add(32*time.Hour), 2.9)
	w.step(farm.Event{Kind: farm.EventJot, Arrived: day.Add(40 * time.Hour), Jot: farm.Jot{At: day.Add(40 * time.Hour), Bin: "bed", Zone: "near", What: farm.Watered, Litres: 2}})
	w.step(farm.Event{Kind: farm.EventTick, Arrived: day.Add(60 * time.Hour)})
	ended := w.changes[before:]
	if len(ended) != len(raised) {
		t.Errorf("got %d changes after the day, want the end of each of %d: %+v", len(ended), len(raised), ended)
	}
	for _, ch := range ended {
		if ch.Change != farm.Eased || ch.Ended != farm.Unwatched || !ch.At.Equal(day) || !strings.HasPrefix(ch.Text, "Bed was retired on 5 May and is no longer watched.") {
			t.Errorf("got %s of %s at %s, ended %q: %q", ch.Change, ch.Condition, ch.At, ch.Ended, ch.Text)
		}
	}
	v := w.state.Look(day.Add(60 * time.Hour))
	if len(v.Bins) != 0 || len(v.Probes) != 0 || len(v.Standing) != 0 || len(v.Retired) != 1 || !v.Retired[0].Since.Equal(day) {
		t.Errorf("got %+v", v)
	}
}

// What is retired on a day that is over ends at the reload; a zone beside it goes on.
func TestRetiredAtAReload(t *testing.T) {
	f := nursery(farm.Living, "red")
	f.Bins[0].Zones[0].Retired = t0.Truncate(24 * time.Hour)
	f.Bins[0].Zones = append(f.Bins[0].Zones, zoneSpec("far", farm.Living, "x"))
	f.Probes = append(f.Probes, farm.Probe{ID: "x", Measures: farm.Moisture, Unit: farm.Percent, Every: 10 * time.Minute})
	later, gone := dryBed(t).under(t, f)
	if len(gone) != 2 { // too dry, and t silent
		t.Fatalf("got %+v", gone)
	}
	for _, ch := range gone {
		if ch.Ended != farm.Unwatched || ch.Text != "Bed, near was retired on 4 May and is no longer watched. How it is there is not known." {
			t.Errorf("got %q: %q", ch.Ended, ch.Text)
		}
	}
	later.hold("x", t0.Add(3*time.Hour), t0.Add(5*time.Hour), 66)
	if ch := only(t, later.of(farm.TooDry)); ch.Zone != "far" {
		t.Errorf("got %+v", ch)
	}
	if v := later.state.Look(t0.Add(5 * time.Hour)); len(v.Bins) != 1 || len(v.Bins[0].Zones) != 1 {
		t.Errorf("got %+v", v.Bins)
	}
}

// A replay of the past with a day in it judges what was before that day, and a probe in the
// air of other bins is watched wherever it stands.
func TestTheAirIsWatchedWhereverItsProbeStands(t *testing.T) {
	f := nursery(farm.Living, "red")
	f.Bins[0].Zones[0].Retired = t0
	f.Bins = append(f.Bins, farm.Bin{Name: "tub", Ambient: "t", Zones: []farm.Zone{zoneSpec("all", farm.Keeping)}})
	w := &watched{state: rules.New(f)}
	w.say("t", t0, 18)
	w.step(farm.Event{Kind: farm.EventTick, Arrived: t0.Add(2 * time.Hour)})
	if ch := only(t, w.of(farm.Silent)); ch.Probe != "t" {
		t.Errorf("got %+v", ch)
	}
}
