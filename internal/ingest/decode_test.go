package ingest_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

var noon = time.Date(2026, time.May, 1, 12, 0, 0, 0, time.UTC)

// shed has a probe of every kind.
func shed() *farm.Farm {
	return &farm.Farm{
		Units: farm.Metric,
		Probes: []farm.Probe{
			{ID: "bed-t", Topic: "glass/bed", Value: "/temp_f", Time: "/at", Measures: farm.Temperature, Unit: farm.Fahrenheit},
			{ID: "bed-m", Topic: "glass/bed", Value: "/soil", Measures: farm.Moisture, Unit: farm.RawUnit,
				Calibration: []farm.Point{{Raw: 1420, Value: 84}, {Raw: 2850, Value: 12}}},
			{ID: "far-m", Topic: "glass/far/moisture", Measures: farm.Moisture, Unit: farm.Percent},
			{ID: "air", Topic: "glass/+/temperature", Measures: farm.Temperature, Unit: farm.Celsius},
			{ID: "ratio", Topic: "store/crate", Value: "/m", Measures: farm.Moisture, Unit: farm.Ratio},
			{ID: "volts", Topic: "store/crate", Value: "/power/mv", Measures: farm.Battery, Unit: farm.Millivolt},
			{ID: "third", Topic: "store/crate", Value: "/all/2/v", Measures: farm.Temperature, Unit: farm.Celsius},
		},
		Bins: []farm.Bin{
			{Name: "bed", Zones: []farm.Zone{{Name: "near"}, {Name: "far"}}},
			{Name: "crate", Zones: []farm.Zone{{Name: "all"}}},
		},
		Species: []farm.Species{{ID: "red"}},
	}
}

func TestDecodeReadings(t *testing.T) {
	stamp := noon.Add(-5 * time.Minute)
	cases := []struct {
		name, topic, payload string
		want                 []farm.Reading
	}{
		{"bare number", "glass/far/moisture", "71.5", []farm.Reading{{Probe: "far-m", Raw: 71.5, Value: 71.5}}},
		{"white space", "glass/far/moisture", " \t71.5\r\n", []farm.Reading{{Probe: "far-m", Raw: 71.5, Value: 71.5}}},
		{"in quotes", "glass/far/moisture", `"71.5"`, []farm.Reading{{Probe: "far-m", Raw: 71.5, Value: 71.5}}},
		{"with a sign", "glass/air/temperature", "-0.0625", []farm.Reading{{Probe: "air", Raw: -0.0625, Value: -0.0625}}},
		{"with an exponent", "glass/air/temperature", "2.15e1", []farm.Reading{{Probe: "air", Raw: 21.5, Value: 21.5}}},
		{"no number as a word", "glass/air/temperature", "nan", []farm.Reading{{Probe: "air", Raw: math.NaN(), Value: math.NaN()}}},
		{"wildcard", "glass/north/temperature", "21", []farm.Reading{{Probe: "air", Raw: 21, Value: 21}}},
		{"several probes in one message", "glass/bed", `{"temp_f":61.7,"soil":2135}`, []farm.Reading{
			{Probe: "bed-t", Raw: 61.7, Value: 16.5}, {Probe: "bed-m", Raw: 2135, Value: 48}}},
		{"numbers in texts", "glass/bed", `{"temp_f":" 61.7 ","soil":"2135"}`, []farm.Reading{
			{Probe: "bed-t", Raw: 61.7, Value: 16.5}, {Probe: "bed-m", Raw: 2135, Value: 48}}},
		{"nested, in an array, in small units", "store/crate", `{"all":[1,2,{"v":9.5}],"m":0.72,"power":{"mv":3310}}`, []farm.Reading{
			{Probe: "ratio", Raw: 0.72, Value: 72}, {Probe: "volts", Raw: 3310, Value: 3.31}, {Probe: "third", Raw: 9.5, Value: 9.5}}},
		{"null and the words of Python", "store/crate", `{"m":null,"power":{"mv":NaN},"all":[0,0,{"v":-Infinity}]}`, []farm.Reading{
			{Probe: "ratio", Raw: math.NaN(), Value: math.NaN()}, {Probe: "volts", Raw: math.NaN(), Value: math.NaN()},
			{Probe: "third", Raw: math.Inf(-1), Value: math.Inf(-1)}}},
		{"time in RFC 3339", "glass/bed", `{"temp_f":32,"soil":1420,"at":"2026-05-01T13:55:00+02:00"}`, []farm.Reading{
			{Probe: "bed-t", Raw: 32, Value: 0, At: stamp, Stamped: true}, {Probe: "bed-m", Raw: 1420, Value: 84}}},
		{"time in seconds", "glass/bed", fmt.Sprintf(`{"temp_f":32,"soil":1420,"at":%d}`, stamp.Unix()), []farm.Reading{
			{Probe: "bed-t", Raw: 32, Value: 0, At: stamp, Stamped: true}, {Probe: "bed-m", Raw: 1420, Value: 84}}},
		{"time in milliseconds, as a text", "glass/bed", fmt.Sprintf(`{"temp_f":32,"soil":1420,"at":"%d"}`, stamp.UnixMilli()), []farm.Reading{
			{Probe: "bed-t", Raw: 32, Value: 0, At: stamp, Stamped: true}, {Probe: "bed-m", Raw: 1420, Value: 84}}},
		{"clock not set", "glass/bed", `{"temp_f":32,"soil":1420,"at":0}`, []farm.Reading{
			{Probe: "bed-t", Raw: 32, Value: 0, Misdated: true}, {Probe: "bed-m", Raw: 1420, Value: 84}}},
		{"time that can't be read", "glass/bed", `{"temp_f":32,"soil":1420,"at":"yesterday"}`, []farm.Reading{
			{Probe: "bed-t", Raw: 32, Value: 0, Misdated: true}, {Probe: "bed-m", Raw: 1420, Value: 84}}},
		{"time left out", "glass/bed", `{"temp_f":32,"soil":1420,"at":null}`, []farm.Reading{
			{Probe: "bed-t", Raw: 32, Value: 0}, {Probe: "bed-m", Raw: 1420, Value: 84}}},
	}
	d := ingest.NewDecoder(shed(), "binwatch")
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			got := d.Decode(tt.topic, []byte(tt.payload), noon)
			for i := range tt.want {
				if tt.want[i].At.IsZero() {
					tt.want[i].At = noon
				}
			}
			want := ingest.Decoded{Readings: tt.want}
			if diff := cmp.Diff(want, got, cmpopts.EquateNaNs(), cmpopts.EquateApprox(0, 1e-9)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// A time stamp more than 30 days back or 10 minutes ahead is not believed.
func TestDeviceTimeIsBelievedWithinBounds(t *testing.T) {
	d := ingest.NewDecoder(shed(), "binwatch")
	for _, tt := range []struct {
		off  time.Duration
		want bool
	}{
		{10 * time.Minute, true}, {10*time.Minute + time.Second, false},
		{-30 * 24 * time.Hour, true}, {-30*24*time.Hour - time.Second, false},
	} {
		payload := fmt.Sprintf(`{"temp_f":60,"soil":2000,"at":"%s"}`, noon.Add(tt.off).Format(time.RFC3339))
		r := d.Decode("glass/bed", []byte(payload), noon).Readings[0]
		if r.Stamped != tt.want || r.Misdated == tt.want || r.At.Equal(noon) == tt.want {
			t.Errorf("%s off: stamped %v, misdated %v, at %s", tt.off, r.Stamped, r.Misdated, r.At)
		}
	}
}

func TestDecodeRejects(t *testing.T) {
	big := `{"temp_f":60,"soil":2000,"x":"` + strings.Repeat("x", 1<<20) + `"}`
	cases := []struct {
		name, topic, payload string
		want                 map[string]string // probe → reason
	}{
		{"nobody's topic", "glass/nobody", "1", map[string]string{"": ingest.Unclaimed}},
		{"empty", "glass/far/moisture", "", map[string]string{"far-m": ingest.Empty}},
		{"blank", "glass/far/moisture", " \n", map[string]string{"far-m": ingest.Empty}},
		{"a megabyte", "glass/bed", big, map[string]string{"bed-t": ingest.TooLarge, "bed-m": ingest.TooLarge}},
		{"not JSON", "glass/bed", "61.7F", map[string]string{"bed-t": ingest.NotJSON, "bed-m": ingest.NotJSON}},
		{"half a message", "glass/bed", `{"temp_f":61.7,"soil":2135`, map[string]string{"bed-t": ingest.NotJSON, "bed-m": ingest.NotJSON}},
		{"two messages", "glass/bed", `{"temp_f":1}{"soil":2}`, map[string]string{"bed-t": ingest.NotJSON, "bed-m": ingest.NotJSON}},
		{"too deep", "glass/bed", strings.Repeat("[", 1000), map[string]string{"bed-t": ingest.NotJSON, "bed-m": ingest.NotJSON}},
		{"invalid UTF-8", "glass/far/moisture", "\xff\xfe71", map[string]string{"far-m": ingest.NotNumber}},
		{"a word", "glass/far/moisture", "wet", map[string]string{"far-m": ingest.NotNumber}},
		{"a hexadecimal number", "glass/far/moisture", "0x1p4", map[string]string{"far-m": ingest.NotNumber}},
		{"digits apart", "glass/far/moisture", "1_0", map[string]string{"far-m": ingest.NotNumber}},
		{"two commas", "glass/far/moisture", "1,071,5", map[string]string{"far-m": ingest.NotNumber}},
		{"another unit", "glass/far/moisture", "71.5 °C", map[string]string{"far-m": ingest.NotNumber}},
		{"a row of values", "glass/far/moisture", "71.5;19,2;3.9", map[string]string{"far-m": ingest.NotNumber}},
		{"an object for a number", "glass/far/moisture", `{"v":1}`, map[string]string{"far-m": ingest.NotNumber}},
		{"one of two missing", "glass/bed", `{"soil":2135}`, map[string]string{"bed-t": ingest.Missing}},
		{"one of two no number", "glass/bed", `{"temp_f":true,"soil":2135}`, map[string]string{"bed-t": ingest.NotNumber}},
		{"an array for an object", "glass/bed", `[1,2]`, map[string]string{"bed-t": ingest.Missing, "bed-m": ingest.Missing}},
		{"a too short array", "store/crate", `{"all":[1],"m":0.5,"power":{"mv":3300}}`, map[string]string{"third": ingest.Missing}},
	}
	d := ingest.NewDecoder(shed(), "binwatch")
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			got := d.Decode(tt.topic, []byte(tt.payload), noon)
			reasons := map[string]string{}
			for _, r := range got.Rejected {
				reasons[r.Probe] = r.Reason
				if r.Detail == "" || len(r.Detail) > 300 {
					t.Errorf("detail %q", r.Detail)
				}
			}
			if diff := cmp.Diff(tt.want, reasons); diff != "" {
				t.Error(diff)
			}
			for _, r := range got.Readings {
				if reasons[r.Probe] != "" {
					t.Errorf("%s is both read and rejected", r.Probe)
				}
			}
		})
	}
}

// RFC 6901 §5: the document and pointers of the standard itself.
func TestPointersOfTheStandard(t *testing.T) {
	const document = `{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}`
	for pointer, want := range map[string]float64{
		"/": 0, "/a~1b": 1, "/c%d": 2, "/e^f": 3, "/g|h": 4, `/i\j`: 5, `/k"l`: 6, "/ ": 7, "/m~0n": 8,
	} {
		f := &farm.Farm{Probes: []farm.Probe{{ID: "p", Topic: "t", Value: pointer, Measures: farm.Moisture, Unit: farm.Percent}}}
		got := ingest.NewDecoder(f, "binwatch").Decode("t", []byte(document), noon)
		if len(got.Readings) != 1 || got.Readings[0].Raw != want {
			t.Errorf("%s: got %+v, want %v", pointer, got, want)
		}
	}
	for pointer, want := range map[string]string{"/foo/0": ingest.NotNumber, "/foo": ingest.NotNumber, "/foo/2": ingest.Missing, "/foo/-": ingest.Missing, "/foo/00": ingest.Missing} {
		f := &farm.Farm{Probes: []farm.Probe{{ID: "p", Topic: "t", Value: pointer, Measures: farm.Moisture}}}
		got := ingest.NewDecoder(f, "binwatch").Decode("t", []byte(document), noon)
		if len(got.Rejected) != 1 || got.Rejected[0].Reason != want {
			t.Errorf("%s: got %+v, want %v", pointer, got, want)
		}
	}
}

func TestCalibration(t *testing.T) {
	many := []farm.Point{{Raw: 100, Value: 0}, {Raw: 200, Value: 40}, {Raw: 400, Value: 80}}
	cases := []struct {
		name   string
		probe  farm.Probe
		raw    string
		want   float64
		within float64
	}{
		// Two points in 1/V, (2.80 V, 5 %), (1.20 V, 45 %), computed: the straight
		// line in V itself gives 30 % at 1.80 V.
		{"between two points, falling", farm.Probe{Unit: farm.RawUnit, Calibration: []farm.Point{{Raw: 1.2, Value: 45}, {Raw: 2.8, Value: 5}}}, "1.8", 30, 1e-9},
		{"first stretch of three", farm.Probe{Unit: farm.RawUnit, Calibration: many}, "150", 20, 1e-9},
		{"second stretch of three", farm.Probe{Unit: farm.RawUnit, Calibration: many}, "300", 60, 1e-9},
		{"beyond the last point", farm.Probe{Unit: farm.RawUnit, Calibration: many}, "450", 90, 1e-9},
		{"a little outside is the end", farm.Probe{Unit: farm.RawUnit, Calibration: many}, "93", 0, 1e-9},
		{"far outside stays outside", farm.Probe{Unit: farm.RawUnit, Calibration: many}, "80", -8, 1e-9},
		{"one point shifts", farm.Probe{Unit: farm.Percent, Calibration: []farm.Point{{Raw: 70, Value: 73}}}, "60", 63, 1e-9},
		{"points in any order", farm.Probe{Unit: farm.RawUnit, Calibration: []farm.Point{many[2], many[0], many[1]}}, "150", 20, 1e-9},
	}
	for _, tt := range cases {
		t.Run(tt.name, func(t *testing.T) {
			tt.probe.ID, tt.probe.Topic, tt.probe.Measures = "p", "t", farm.Moisture
			f := &farm.Farm{Probes: []farm.Probe{tt.probe}}
			got := ingest.NewDecoder(f, "binwatch").Decode("t", []byte(tt.raw), noon)
			if len(got.Readings) != 1 || math.Abs(got.Readings[0].Value-tt.want) > tt.within {
				t.Errorf("got %+v, want %v", got, tt.want)
			}
		})
	}
}
