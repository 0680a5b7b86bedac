package rules_test

import (
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/rules"
)

// BenchmarkStepQuiet is a reading that changes nothing, the ticks that fall
// between readings and the hourly refits included: twenty probes that speak
// every minute. TestTheQuietPathAllocatesNothing looks at it without refits.
func BenchmarkStepQuiet(b *testing.B) {
	s, events := quietFarm(b)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		e := &events[i%len(events)]
		if ch := s.Step(*e); ch != nil {
			b.Fatalf("the quiet path is not quiet: %+v", ch)
		}
		e.Arrived = e.Arrived.Add(period)
		e.Reading.At = e.Arrived
		i++
	}
}

const period = time.Minute

func quietFarm(b *testing.B) (*rules.State, []farm.Event) {
	f := nursery(farm.Living, "red")
	f.Probes, f.Bins = nil, nil
	for i := range 10 {
		t, m := "t"+string(rune('0'+i)), "m"+string(rune('0'+i))
		f.Probes = append(f.Probes,
			farm.Probe{ID: t, Measures: farm.Temperature, Unit: farm.Celsius, Every: period},
			farm.Probe{ID: m, Measures: farm.Moisture, Unit: farm.Percent, Every: period})
		f.Bins = append(f.Bins, farm.Bin{Name: "bin" + t, Species: []farm.Share{{Species: "red", Fraction: 1}}, VolumeL: 100,
			Zones: []farm.Zone{zoneSpec("all", farm.Living, t, m)}})
	}
	s := rules.New(f)
	var events []farm.Event
	for i, p := range f.Probes {
		v := 20.0
		if p.Measures == farm.Moisture {
			v = 77
		}
		at := t0.Add(time.Duration(i) * period / 20)
		events = append(events, farm.Event{Kind: farm.EventReading, Arrived: at, Reading: farm.Reading{Probe: p.ID, At: at, Raw: v, Value: v}})
	}
	for range 600 { // fill the windows
		for i := range events {
			e := &events[i]
			s.Step(*e)
			e.Arrived = e.Arrived.Add(period)
			e.Reading.At = e.Arrived
		}
	}
	return s, events
}
