package farm_test

import (
	"encoding/json"
	"strings"
	"testing"

	"binwatchd/internal/farm"
)

// Programs read no digits that are only the computer's own.
func TestNumbersAreAsFineAsProbes(t *testing.T) {
	value := 21.400000000000002
	view := farm.View{
		Bins: []farm.BinView{{Name: "bed", Zones: []farm.ZoneView{{Bin: "bed", Zone: "all", Levels: farm.Levels{
			farm.Moisture: {Value: 39.60000000000001, Lowest: &farm.ProbeLevel{Probe: "a", Value: 36.300000000000004}, Highest: &farm.ProbeLevel{Probe: "b", Value: 42.9}},
		}}}}},
		Probes: []farm.ProbeView{{ID: "a", Measures: farm.Weight, Value: &value}},
	}
	text, err := json.Marshal(view)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"value":39.6,`, `"value":36.3}`, `"value":42.9}`, `"value":21.4`} {
		if !strings.Contains(string(text), want) {
			t.Errorf("no %s in %s", want, text)
		}
	}
	if value != 21.400000000000002 || view.Bins[0].Zones[0].Levels[farm.Moisture].Lowest.Value != 36.300000000000004 {
		t.Error("writing a view changed it")
	}
	if said := farm.Metric.Say(farm.Temperature, 1e308); said != "1e+308 °C" {
		t.Errorf("1e308 is said as %q", said)
	}
}
