package rules_test

import (
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/rules"
)

var t0 = time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)

// nursery is one bin of the given species with a temperature probe "t" and a
// moisture probe "m" in its only zone.
func nursery(aim farm.Aim, species ...string) *farm.Farm {
	var shares []farm.Share
	for _, id := range species {
		shares = append(shares, farm.Share{Species: id, Fraction: 1 / float64(len(species))})
	}
	return &farm.Farm{
		Name: "Hillfoot Nursery", Units: farm.Metric, Location: time.UTC, Species: husbandry.Species(), Feeds: husbandry.Feeds(),
		Probes: []farm.Probe{
			{ID: "t", Measures: farm.Temperature, Unit: farm.Celsius, Every: 10 * time.Minute, Alive: farm.Alive{Topic: "t/alive"}},
			{ID: "m", Measures: farm.Moisture, Unit: farm.Percent, Every: 10 * time.Minute},
			{ID: "b", Measures: farm.Battery, Unit: farm.Volt, Every: time.Hour, Low: 3.3, Of: []string{"t"}},
		},
		Bins: []farm.Bin{{Name: "bed", Species: shares, VolumeL: 100, Zones: []farm.Zone{zoneSpec("near", aim, "t", "m")}}},
	}
}

func zoneSpec(name string, aim farm.Aim, probes ...string) farm.Zone {
	return farm.Zone{
		Name: name, Aim: aim, Probes: probes, Share: 1, Patience: 30 * time.Minute,
		Margin:    map[farm.Quantity]float64{farm.Temperature: 0.5, farm.Moisture: 2},
		LookAhead: farm.LookAhead{Heating: 12 * time.Hour, Drying: 7 * 24 * time.Hour},
	}
}

// A watch feeds a state and remembers what changed.
type watched struct {
	state   *rules.State
	changes []farm.Change
}

func watching(f *farm.Farm) *watched { return &watched{state: rules.New(f)} }

func (w *watched) step(e farm.Event) { w.changes = append(w.changes, w.state.Step(e)...) }

func (w *watched) say(probe string, at time.Time, v float64) {
	w.step(farm.Event{Kind: farm.EventReading, Arrived: at, Reading: farm.Reading{Probe: probe, At: at, Raw: v, Value: v}})
}

func (w *watched) doubt(probe string, at time.Time, v float64, d farm.Doubt) {
	w.step(farm.Event{Kind: farm.EventReading, Arrived: at, Reading: farm.Reading{Probe: probe, At: at, Raw: v, Value: v, Doubt: d}})
}

// hold says the same every ten minutes in [from, to).
func (w *watched) hold(probe string, from, to time.Time, v float64) {
	for at := from; at.Before(to); at = at.Add(10 * time.Minute) {
		w.say(probe, at, v)
	}
}

// of lists the changes of one condition.
func (w *watched) of(c farm.Condition) []farm.Change {
	var out []farm.Change
	for _, ch := range w.changes {
		if ch.Condition == c {
			out = append(out, ch)
		}
	}
	return out
}

// brief is what a table compares.
type brief struct {
	After   time.Duration // since t0
	Change  farm.ChangeKind
	Urgency farm.Urgency
}

func briefs(changes []farm.Change) []brief {
	var out []brief
	for _, ch := range changes {
		out = append(out, brief{ch.At.Sub(t0), ch.Change, ch.Urgency})
	}
	return out
}

func only(t *testing.T, changes []farm.Change) farm.Change {
	t.Helper()
	if len(changes) != 1 {
		t.Fatalf("got %d changes, want one: %+v", len(changes), changes)
	}
	return changes[0]
}
