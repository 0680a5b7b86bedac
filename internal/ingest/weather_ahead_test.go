package ingest_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

func yardDecoder() *ingest.Decoder {
	return ingest.NewDecoder(&farm.Farm{
		Location: time.UTC,
		Probes:   []farm.Probe{{ID: "t", Topic: "yard/t", Measures: farm.Temperature, Unit: farm.Celsius, Every: time.Minute}},
		Rooms:    []farm.Room{{Name: "yard", Ahead: "weather/hours"}, {Name: "shed", Ahead: "weather/hours"}, {Name: "cellar"}},
	}, "binwatch")
}

// The weather to come is a list of times and degrees Celsius, as pairs or as objects, from
// whatever source: sorted, rounded, without what is over but for the last before now.
func TestTheWeatherToComeIsRead(t *testing.T) {
	noon := time.Date(2026, 12, 1, 12, 0, 0, 0, time.UTC)
	hour := func(h int, c float64) farm.WeatherHour {
		return farm.WeatherHour{At: noon.Add(time.Duration(h) * time.Hour), TempC: c}
	}
	for name, payload := range map[string]string{
		"pairs":     `[["2026-12-01T13:00:00Z", 4.04], ["2026-12-01T14:00:00+00:00", 3]]`,
		"objects":   `[{"at": "2026-12-01T14:00:00Z", "c": 3, "wind": 12}, {"at": "2026-12-01T13:00:00Z", "c": 4.0}]`,
		"seconds":   `[[1796130000, 4], [1796133600, 3]]`,
		"with past": `[["2026-12-01T09:00:00Z", 7], ["2026-12-01T13:00:00Z", 4], ["2026-12-01T14:00:00Z", 3], ["2026-12-01T14:00:00Z", 9]]`,
	} {
		got := yardDecoder().Decode("weather/hours", []byte(payload), noon.Add(-time.Minute))
		if len(got.Rejected) > 0 || len(got.Commands) != 1 || got.Commands[0].Kind != farm.EventWeather {
			t.Errorf("%s: got %+v", name, got)
			continue
		}
		want := []farm.WeatherHour{hour(1, 4), hour(2, 3)}
		if name == "with past" {
			want = append([]farm.WeatherHour{hour(-3, 7)}, want...)
		}
		if diff := cmp.Diff(&farm.Weather{Topic: "weather/hours", Hours: want}, got.Commands[0].Weather); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
}

// What is no weather to come is told in one line that says what is wrong with it.
func TestWhatIsNoWeatherIsRefused(t *testing.T) {
	noon := time.Date(2026, 12, 1, 12, 0, 0, 0, time.UTC)
	for payload, want := range map[string]string{
		``:                                   "is not a list such as",
		`4.5`:                                "is not a list such as",
		`{"hours": []}`:                      "is not a list such as",
		`[]`:                                 "it says nothing of two different times",
		`[["2026-12-01T13:00:00Z", 4]]`:      "it says nothing of two different times",
		`[3, 4]`:                             `entry 1 of 2: "3" is neither a pair nor an object with at and c`,
		`[["2026-12-01T13:00:00Z"]]`:         "has not a time and a temperature",
		`[{"time": "x", "c": 4}]`:            "has not a time and a temperature",
		`[["tomorrow", 4]]`:                  "is not a time; write it as 2026-05-01T18:00:00Z",
		`[["2026-12-01T13:00:00Z", "4 °C"]]`: "is not a temperature",
		`[["2026-12-01T13:00:00Z", null]]`:   "is not a temperature",
		`[["2026-12-01T13:00:00Z", 277]]`:    "277 °C is no temperature of air; degrees Celsius are meant",
		`[["2026-12-01T13:00:00Z", 1e999]]`:  "is not a temperature",
		`[["2026-11-01T13:00:00Z", 4], ["2026-11-01T14:00:00Z", 4]]`: "all of it is over: it ends with 2026-11-01T14:00:00Z",
		"[" + strings.Repeat(" ", 70_000) + "]":                      "the most is 65536",
	} {
		got := yardDecoder().Decode("weather/hours", []byte(payload), noon)
		if len(got.Commands) > 0 || len(got.Rejected) != 1 || got.Rejected[0].Reason != ingest.BadWeather || !strings.Contains(got.Rejected[0].Detail, want) {
			t.Errorf("%.60q: got %+v, want %q", payload, got, want)
			continue
		}
		if strings.Contains(got.Rejected[0].Detail, "\n") {
			t.Errorf("%.60q: more than one line: %q", payload, got.Rejected[0].Detail)
		}
	}
}

// The topic is subscribed to once, though two places hear it, and a message can be tried.
func TestTheWeatherIsHeardAndExplained(t *testing.T) {
	d := yardDecoder()
	if diff := cmp.Diff([]string{"weather/hours", "yard/t"}, d.Topics()); diff != "" {
		t.Errorf("topics (-want +got):\n%s", diff)
	}
	got := d.Explain("weather/hours", []byte(`[["2026-12-01T13:00:00Z", 4], ["2026-12-01T14:00:00Z", 3]]`))
	if want := "the weather to come, 2 entries from 2026-12-01T13:00:00Z to 2026-12-01T14:00:00Z, the first 4 °C"; !strings.Contains(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if got := d.Explain("weather/hours", []byte(`cold`)); !strings.Contains(got, "rejected (bad_weather): no weather to come: ") {
		t.Errorf("got %q", got)
	}
}
