package reliability_test

import (
	"math"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/reliability"
)

var start = time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)

const every = 10 * time.Minute

// month gives the account of thirty days in which each probe says what is wanted of it; ok false
// says nothing then.
func month(t *testing.T, watch func(at time.Time) bool, says map[string]func(at time.Time) (r farm.Reading, ok bool)) map[string]reliability.Probe {
	t.Helper()
	f := &farm.Farm{Probes: []farm.Probe{
		{ID: "fine", Measures: farm.Temperature, Unit: farm.Celsius, Every: every},
		{ID: "flaky", Measures: farm.Temperature, Unit: farm.Celsius, Every: every},
		{ID: "cell", Measures: farm.Battery, Unit: farm.Volt, Every: every, Low: 3.3},
		{ID: "m", Measures: farm.Moisture, Unit: farm.RawUnit, Every: every, Calibration: []farm.Point{{Raw: 0, Value: 0}, {Raw: 100, Value: 100}}},
	}}
	a := reliability.New(f, func(_ string, raw float64) (float64, bool) { return raw, true })
	a.Hear(farm.Event{Kind: farm.EventStart, Arrived: start})
	on := true
	for at := start; at.Before(start.Add(30 * 24 * time.Hour)); at = at.Add(every) {
		if now := watch(at); now != on {
			on = now
			a.Hear(farm.Event{Kind: farm.EventLink, Arrived: at, Up: on})
		}
		for _, p := range f.Probes {
			say, given := says[p.ID]
			if !on || !given {
				continue
			}
			if r, ok := say(at); ok {
				r.Probe, r.At = p.ID, at
				a.Hear(farm.Event{Kind: farm.EventReading, Arrived: at, Reading: r})
			}
		}
	}
	got := map[string]reliability.Probe{}
	for i, p := range a.List(start.Add(30 * 24 * time.Hour)) {
		if p.Replace != (i == 0 && p.Believed < 0.95) {
			t.Errorf("%s stands at %d and is to be replaced: %v", p.ID, i, p.Replace)
		}
		got[p.ID] = p
	}
	return got
}

func always(time.Time) bool { return true }

func steady(time.Time) (farm.Reading, bool) { return farm.Reading{Raw: 20, Value: 20}, true }

func TestAMonthOfProbes(t *testing.T) {
	got := month(t, always, map[string]func(time.Time) (farm.Reading, bool){
		"fine": steady,
		// six hours of silence each night, and one reading in ten frozen
		"flaky": func(at time.Time) (farm.Reading, bool) {
			r := farm.Reading{Raw: 20, Value: 20}
			if at.Minute() == 0 && at.Hour()%2 == 0 {
				r.Doubt = farm.Frozen
			}
			return r, at.Hour() >= 6
		},
		// 3.9 V, 10 mV a day: low at 3.3 V after 60 days
		"cell": func(at time.Time) (farm.Reading, bool) {
			v := 3.9 - 0.01*at.Sub(start).Hours()/24 + 0.003*math.Sin(float64(at.Unix()))
			return farm.Reading{Raw: v, Value: v}, true
		},
		// calibrated anew on the tenth day
		"m": func(at time.Time) (farm.Reading, bool) {
			if at.Before(start.Add(10 * 24 * time.Hour)) {
				return farm.Reading{Raw: 50, Value: 61}, true
			}
			return farm.Reading{Raw: 50, Value: 50}, true
		},
	})
	if p := got["fine"]; p.Heard != 1 || p.Believed != 1 || p.DropOuts != 0 || p.Replace {
		t.Errorf("fine: %+v", p)
	}
	// Of the 24 hours six and ten minutes are a gap, of which half an hour is bridged.
	if p := got["flaky"]; p.DropOuts != 29 || math.Abs(p.Heard-0.77) > 0.01 || !p.Replace || p.Doubt != farm.Frozen.String() || math.Abs(p.Believed-p.Heard*(1-float64(p.Doubted)/float64(p.Readings))) > 1e-9 {
		t.Errorf("flaky: %+v", p)
	}
	if p := got["cell"]; p.LowBy == nil || p.LowBy.Sub(start.Add(60*24*time.Hour)).Abs() > 36*time.Hour {
		t.Errorf("cell: low by %v, want about 30 November", p.LowBy)
	}
	if p := got["m"]; p.Calibrated == nil || !p.Calibrated.Equal(start.Add(10*24*time.Hour)) || p.Longer {
		t.Errorf("m: %+v, want it calibrated on the tenth day", p)
	}
}

// Time in which nobody listened is no probe's fault, a probe that came late is judged from then, and
// one that was never heard comes first.
func TestWhatIsNotAProbesFault(t *testing.T) {
	away := func(at time.Time) bool { d := at.Sub(start).Hours() / 24; return d < 5 || d > 12 }
	got := month(t, away, map[string]func(time.Time) (farm.Reading, bool){
		"fine": steady,
		"flaky": func(at time.Time) (farm.Reading, bool) {
			r, _ := steady(at)
			return r, at.After(start.Add(20 * 24 * time.Hour))
		},
		"cell": func(time.Time) (farm.Reading, bool) { return farm.Reading{Raw: 3.9, Value: 3.9}, true },
	})
	for _, id := range []string{"fine", "flaky"} {
		if p := got[id]; p.Heard != 1 || p.DropOuts != 0 || p.LowBy != nil {
			t.Errorf("%s: %+v, want it sound", id, p)
		}
	}
	if p := got["cell"]; p.LowBy != nil {
		t.Errorf("a battery that stands is low by %v", p.LowBy)
	}
	if p := got["m"]; p.Readings != 0 || p.Believed != 0 || !p.Replace {
		t.Errorf("m: %+v, want it first", p)
	}
}
