package ingest_test

import (
	"testing"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// A number that is not finite is no reading, whichever way it came about.
func TestWhatIsNotFiniteIsDoubted(t *testing.T) {
	steep := []farm.Point{{Raw: 0, Value: 0}, {Raw: 5e-324, Value: 100}}
	cases := []struct {
		name, payload string
		probe         farm.Probe
	}{
		{"inf", "inf", farm.Probe{Measures: farm.Temperature}},
		{"-Infinity in quotes", `"-Infinity"`, farm.Probe{Measures: farm.Temperature}},
		{"nan", "nan", farm.Probe{Measures: farm.Moisture, Unit: farm.Percent}},
		{"too large for a float64", "1e400", farm.Probe{Measures: farm.Temperature}},
		{"within JSON", `{"v": -1e999}`, farm.Probe{Measures: farm.Temperature, Value: "/v"}},
		{"too large once it is a percentage", "1e308", farm.Probe{Measures: farm.Moisture, Unit: farm.Ratio}},
		{"too large by its calibration", "1e308", farm.Probe{Measures: farm.Moisture, Unit: farm.RawUnit, Calibration: steep}},
		{"no number by its calibration", "inf", farm.Probe{Measures: farm.Moisture, Unit: farm.RawUnit, Calibration: []farm.Point{{Raw: 1, Value: 5}, {Raw: 2, Value: 5}}}},
		{"a battery", "Infinity", farm.Probe{Measures: farm.Battery, Unit: farm.Volt}},
		{"one over zero volts, as a device sends it", "Inf", farm.Probe{Measures: farm.Moisture, Unit: farm.Percent}},
	}
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			tt.probe.ID, tt.probe.Topic, tt.probe.Every = "p", "t", tenMinutes
			f := &farm.Farm{Probes: []farm.Probe{tt.probe}}
			got := ingest.NewDecoder(f, "binwatch").Decode("t", []byte(tt.payload), spring)
			if len(got.Readings) != 1 {
				t.Fatalf("got %+v, want one reading, kept and doubted", got)
			}
			r := got.Readings[0]
			ingest.NewDoubter(f).Judge(&r)
			if r.Doubt != farm.NotANumber {
				t.Errorf("%v is doubted as %q, want %q", r.Value, r.Doubt, farm.NotANumber)
			}
		})
	}
}
