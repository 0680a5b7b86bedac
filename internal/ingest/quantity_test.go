package ingest_test

import (
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// A quantity that is a row of the table, and nothing else, has its own unit,
// range and rates, not moisture's.
func TestAnyQuantityIsDoubtedByItsRow(t *testing.T) {
	before := farm.Quantities
	t.Cleanup(func() { farm.Quantities = before })
	grain := farm.UnitRow{Unit: "grain", Times: 1, Over: 10}
	farm.Quantities = append(farm.Quantities[:len(before):len(before)], farm.QuantityRow{
		Name: "savour", Units: []farm.UnitRow{{Unit: "savour", Times: 1, Over: 1}, grain}, Range: farm.Band{Low: 0, High: 5000}, Slack: 20,
		Rate: farm.Rate{Reach: 200, ReachHour: 100, Fast: 500, FastHour: 300, Noisiest: 800}, Metric: farm.Written{Word: "sv"},
	})
	p := probe("p", "savour", tenMinutes)
	p.Unit = grain.Unit
	f := &farm.Farm{Probes: []farm.Probe{p}, Bins: []farm.Bin{{Name: "bin", Zones: []farm.Zone{{Name: "all", Aim: farm.Living, Probes: []string{"p"}}}}}}

	if got := ingest.NewDecoder(f, "binwatch").Explain(p.Topic, []byte("12340")); !strings.Contains(got, "12340 grain is 1234 sv") {
		t.Errorf("got %q", got)
	}
	for raw, want := range map[float64]float64{12340: 1234, -100: 0, 50150: 5000, 60000: 6000} {
		if got, _ := ingest.NewCalibrator(f).Value("p", raw); got != want {
			t.Errorf("%v grain is %v, want %v", raw, got, want)
		}
	}

	d := newTester(f)
	at := spring
	for range 300 {
		at = at.Add(tenMinutes)
		d.say("p", at, 1000+float64(at.Minute()))
	}
	for _, v := range []float64{1180, 1300, 1150, 1010} { // a moisture's limits are 6 and 10
		at = at.Add(tenMinutes)
		d.say("p", at, v)
	}
	d.none(t)
	for _, tt := range []struct {
		v    float64
		want farm.Doubt
	}{{5001, farm.OutOfRange}, {-1, farm.OutOfRange}, {3000, farm.TooFast}, {1010, farm.NoDoubt}, {2500, farm.TooFast}} {
		at = at.Add(tenMinutes)
		if got := d.say("p", at, tt.v); got != tt.want {
			t.Errorf("%v: got %q, want %q", tt.v, got, tt.want)
		}
	}
	began := at // no air is at hand and no water is poured: it is believed once it has lasted
	for at = at.Add(tenMinutes); d.say("p", at, 2500) != farm.NoDoubt; at = at.Add(tenMinutes) {
		if at.Sub(began) > 7*time.Hour {
			t.Fatal("a step that lasts is never believed")
		}
	}
	if at.Sub(began) < 5*time.Hour {
		t.Errorf("a step that is far too fast is believed after %s", at.Sub(began))
	}
}

// A message for each quantity is explained in its inner unit; pH has none.
func TestEveryQuantityIsExplained(t *testing.T) {
	for _, tt := range []struct {
		measures      farm.Quantity
		unit          farm.Unit
		payload, want string
	}{
		{farm.PH, farm.PHUnit, "6.85", "p: 6.85 pH is 6.85\n"},
		{farm.PH, farm.PHUnit, "85", "p: 85 pH is 85, not believed: out of range\n"},
		{farm.Humidity, farm.Percent, "85", "p: 85 % is 85 %\n"},
		{farm.CO2, farm.PPM, "85", "p: 85 ppm is 85 ppm\n"},
		{farm.Weight, farm.Gram, "14250", "p: 14250 g is 14.25 kg\n"},
		{farm.Conductivity, "µS/cm", "85", "p: 85 µS/cm is 0.085 mS/cm\n"},
		{farm.Battery, farm.Percent, "85", "p: 85 % is 85 %\n"},
	} {
		f := &farm.Farm{Probes: []farm.Probe{{ID: "p", Topic: "p", Measures: tt.measures, Unit: tt.unit, Every: tenMinutes}}}
		if got := ingest.NewDecoder(f, "binwatch").Explain("p", []byte(tt.payload)); !strings.HasSuffix(got, tt.want) {
			t.Errorf("%s: got %q, want it to end in %q", tt.measures, got, tt.want)
		}
	}
}

func TestAHushOfAQuantityIsExplained(t *testing.T) {
	f := &farm.Farm{Bins: []farm.Bin{{Name: "tub", Zones: []farm.Zone{{Name: "all", Aim: farm.Keeping}}}}}
	for payload, want := range map[string]string{
		`{"for": "2h", "condition": "past-limit", "quantity": "co2"}`: "quiet about past-limit co2 at tub for 2 hours",
		`{"for": "2h", "condition": "past-limit"}`:                    "quiet about past-limit at tub for 2 hours",
		`{"for": "2h"}`:                     "quiet about everything at tub for 2 hours",
		`{"for": "2h", "quantity": "salt"}`: `"salt" is not one that has limits`,
	} {
		if got := ingest.NewDecoder(f, "binwatch").Explain("binwatch/hush/tub", []byte(payload)); !strings.Contains(got, want) {
			t.Errorf("%s: got %q, want it to say %q", payload, got, want)
		}
	}
}
