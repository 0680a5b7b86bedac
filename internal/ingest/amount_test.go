package ingest_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// What stands behind a number is its unit, however the device writes it.
func TestNumbersWithUnits(t *testing.T) {
	c := farm.Probe{ID: "c", Topic: "c", Measures: farm.Temperature, Unit: farm.Celsius}
	f := farm.Probe{ID: "f", Topic: "f", Measures: farm.Temperature, Unit: farm.Fahrenheit}
	j := farm.Probe{ID: "j", Topic: "j", Value: "/t", Measures: farm.Temperature, Unit: farm.Celsius}
	m := farm.Probe{ID: "m", Topic: "m", Measures: farm.Moisture, Unit: farm.RawUnit, Calibration: []farm.Point{{Raw: 3481, Value: 0}, {Raw: 1433, Value: 90}}}
	r := farm.Probe{ID: "r", Topic: "r", Measures: farm.Moisture, Unit: farm.Ratio}
	ec := farm.Probe{ID: "ec", Topic: "ec", Measures: farm.Conductivity, Unit: "mS/cm"}
	d := ingest.NewDecoder(&farm.Farm{Probes: []farm.Probe{c, f, j, m, r, ec}}, "binwatch")
	for _, tt := range []struct {
		topic, payload string
		raw, value     float64
	}{
		{"c", "21.5 °C", 21.5, 21.5}, {"c", "21,5", 21.5, 21.5}, {"c", "21.5C", 21.5, 21.5}, {"c", `"21,5 °C"`, 21.5, 21.5},
		{"c", "21.5 \xb0C", 21.5, 21.5}, {"c", "-3,25 Celsius", -3.25, -3.25}, {"c", "21.5 ℃", 21.5, 21.5}, {"c", "21.5\u00a0ºC\r\n", 21.5, 21.5},
		{"c", "68 °F", 20, 20}, {"f", "20 °C", 68, 20}, {"f", "68F", 68, 20}, {"f", "68", 68, 20},
		{"j", `{"t":"21.5\u00b0C"}`, 21.5, 21.5}, {"j", "{\"t\":\"21,5 \xb0C\"}", 21.5, 21.5},
		{"m", "1433 mV", 1433, 90}, {"r", "61 %", 0.61, 61}, {"r", "61%", 0.61, 61}, {"ec", "1450 μS/cm", 1.45, 1.45},
	} {
		got := d.Decode(tt.topic, []byte(tt.payload), noon)
		if len(got.Readings) != 1 || math.Abs(got.Readings[0].Raw-tt.raw) > 1e-9 || math.Abs(got.Readings[0].Value-tt.value) > 1e-9 {
			t.Errorf("%s %q: got %+v, want raw %v, value %v", tt.topic, tt.payload, got, tt.raw, tt.value)
		}
	}
	for _, tt := range []struct{ topic, payload, says string }{
		{"c", "21.5 V", "21.5 V, where a temperature in C is expected"},
		{"c", "294.6 K", "294.6 K, where a temperature in C is expected"},
		{"c", "21,5,0", "not a number"}, {"c", ",5", "not a number"}, {"c", "21.5 m", "not a number"}, {"c", "°C", "not a number"}, {"c", "2026-05-04", "not a number"},
		{"c", "21.5;61;3.9", "3 values in a row (CSV)"}, {"c", "21.5,61", "2 values in a row (CSV)"}, {"c", "t1\t21.5\t61\t3.9", "4 values in a row (CSV)"},
		{"c", "\x01\x67\x00\xd7", "binary, 4 bytes"}, {"j", "\xd7\xff\xfe\x90", "binary, 4 bytes"}, {"j", `{"t":21.5`, "cut short"}, {"j", "21.5,61", "2 values in a row (CSV)"},
	} {
		got := d.Decode(tt.topic, []byte(tt.payload), noon)
		if len(got.Rejected) != 1 || !strings.Contains(got.Rejected[0].Detail, tt.says) {
			t.Errorf("%s %q: got %+v, want %q", tt.topic, tt.payload, got, tt.says)
		}
		if explained := d.Explain(tt.topic, []byte(tt.payload)); !strings.Contains(explained, tt.says) {
			t.Errorf("%s %q is explained as %q, want %q", tt.topic, tt.payload, explained, tt.says)
		}
	}
	for _, fine := range []string{"21.5", "open", "a farm, with words", `{"t":1}`, "", "Grüße", "1 of 2"} {
		if shape := ingest.Shape([]byte(fine)); shape != "" {
			t.Errorf("%q is called %q", fine, shape)
		}
	}
}

// A clock that says no zone is one on the farm's wall.
func TestTimeWithoutZone(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	p := farm.Probe{ID: "p", Topic: "p", Value: "/t", Time: "/Time", Measures: farm.Temperature, Unit: farm.Celsius}
	d := ingest.NewDecoder(&farm.Farm{Location: berlin, Probes: []farm.Probe{p}}, "binwatch")
	for _, tt := range []struct{ says, at, arrived string }{
		{"2026-05-04T10:00:00", "2026-05-04T08:00:00Z", "2026-05-04T08:00:10Z"},
		{"2026-01-04 10:00:00.5", "2026-01-04T09:00:00.5Z", "2026-01-04T09:00:10Z"},
		{"2026-10-25T02:30:00", "2026-10-25T00:30:00Z", "2026-10-25T00:30:05Z"}, // the hour that is shown twice
		{"2026-10-25T02:30:00", "2026-10-25T01:30:00Z", "2026-10-25T01:30:05Z"},
		{"2026-05-04T10:00:00Z", "", "2026-05-04T08:00:10Z"}, // ahead
	} {
		arrived, _ := time.Parse(time.RFC3339, tt.arrived)
		got := d.Decode("p", []byte(`{"Time":"`+tt.says+`","t":20}`), arrived).Readings[0]
		want := arrived
		if tt.at != "" {
			want, _ = time.Parse(time.RFC3339, tt.at)
		}
		if !got.At.Equal(want) || got.Stamped != (tt.at != "") {
			t.Errorf("%s heard at %s: got %s, stamped %v", tt.says, tt.arrived, got.At, got.Stamped)
		}
	}
	if got := d.Explain("p", []byte(`{"Time":"2026-05-04T10:00:00","t":20}`)); !strings.Contains(got, "taken at 2026-05-04T10:00:00+02:00") {
		t.Error(got)
	}
}
