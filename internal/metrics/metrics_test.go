package metrics_test

import (
	"bytes"
	"flag"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/metrics"
)

var update = flag.Bool("update", false, "write the golden files anew")

var noon = time.Date(2025, 5, 3, 12, 0, 0, 0, time.UTC)

// hillfoot is a look at the invented farm with something of everything.
func hillfoot() farm.View {
	crosses := farm.Forecast{Crosses: noon.Add(6 * time.Hour), Earliest: noon.Add(4 * time.Hour), Latest: noon.Add(9 * time.Hour)}
	air, delays := 18.5, farm.Delays{}
	delays.Add(2 * time.Second)
	delays.Add(-time.Second)
	delays.Add(30 * 24 * time.Hour)
	return farm.View{
		Farm: "Hillfoot Nursery", At: noon,
		Bins: []farm.BinView{
			{Name: "bed", Zones: []farm.ZoneView{
				{Bin: "bed", Zone: "near", Aim: farm.Living,
					Levels:  farm.Levels{farm.Temperature: &farm.LevelView{Value: 27.5, Fresh: true, Bands: farm.Bands{Thrive: farm.Band{Low: 15, High: 25}, Survive: farm.Band{Low: 4, High: 35}}, Lowest: &farm.ProbeLevel{Probe: "a", Value: 24}, Highest: &farm.ProbeLevel{Probe: "b", Value: 31}}, farm.Moisture: &farm.LevelView{Value: 66, Fresh: true, Lowest: &farm.ProbeLevel{Probe: "c", Value: 60}, Highest: &farm.ProbeLevel{Probe: "d", Value: 72}}},
					Species: []farm.SpeciesView{{ID: "red", Activity: 0.62}, {ID: "blue", Activity: 1}},
					Water:   &farm.Advice{WaterLitres: 3.25},
					Outlook: []farm.Outlook{{Condition: farm.Heating, Forecast: crosses}, {Condition: farm.Drying}}},
				{Bin: "bed", Zone: "far", Aim: farm.Sifting, Levels: farm.Levels{
					farm.Moisture: &farm.LevelView{Value: 44, Fresh: true},
					farm.CO2:      &farm.LevelView{Value: 900, Limits: []farm.Limit{{Condition: farm.PastLimit, At: 400}, {Condition: farm.PastLimit, At: 2000}}}}},
			}},
			{Name: "crate", Zones: []farm.ZoneView{{Bin: "crate", Zone: "all", Aim: farm.Keeping, Unjudged: "no believed reading",
				Levels: farm.Levels{farm.Temperature: &farm.LevelView{Value: 9}, farm.Moisture: &farm.LevelView{Value: 48, Bands: farm.Bands{Thrive: farm.Band{Low: 40, High: 55}, Survive: farm.Band{Low: 33, High: math.Inf(1)}}}}}}},
		},
		Probes: []farm.ProbeView{
			{ID: "bed-t", At: noon.Add(-90 * time.Second), Counts: map[string]int64{farm.OutcomeBelieved: 40, farm.OutcomeDoubted: 2},
				Rejected: map[string]int64{"no value": 3}},
			{ID: "crate-m"},
			{ID: "glass-air", Measures: farm.Temperature, AirOf: "glass", Value: &air, Fresh: true},
			{ID: "store-air", Measures: farm.Temperature, AirOf: "store-air", Value: &air}, // silent
			{ID: "yard-air", Measures: farm.Temperature, AirOf: "yard", Value: &air, Fresh: true, Doubt: "out of range"},
		},
		Standing: []farm.Standing{
			{Bin: "bed", Zone: "near", Condition: farm.Heating, Urgency: farm.Today},
			{Probe: "crate-m", Condition: farm.Silent, Urgency: farm.Today},
			{Probe: "crate-t", Condition: farm.Silent, Urgency: farm.Today},
			{Condition: farm.Unforwarded, Urgency: farm.Soon},
		},
		Intake: farm.IntakeView{Running: true, Connected: true, Messages: map[string]int64{"taken": 45, "unclaimed": 1}, Delays: delays},
		Recipients: []farm.Recipient{
			{By: "mail", Place: 1, Address: "kim@example.org", Last: noon},
			{By: "push", Place: 2, Trouble: "no answer", Since: noon},
		},
		Copies: &farm.Copies{Last: noon.Add(-6 * time.Hour), Kept: 14},
	}
}

func whole(view farm.View) metrics.Config {
	return metrics.Config{
		Version: "1.2.3",
		Starts:  metrics.Starts{Messages: []string{"taken", "empty"}, Rejected: []string{"missing", "no value"}},
		Look:    func() (farm.View, bool) { return view, true },
		Journal: func() (metrics.Journal, bool) {
			return metrics.Journal{FileBytes: 81920, LogBytes: 4096, FreeBytes: 8192, Packed: 1000, Unpacked: 45, Events: 7, Oldest: noon.AddDate(-1, 0, 0)}, true
		},
		Influx: func() (metrics.Influx, bool) {
			return metrics.Influx{Waiting: 12, Written: 1033, Parked: 1, Failed: 2, At: noon.Add(-time.Minute)}, true
		},
		Notices: func() []metrics.Notices {
			return []metrics.Notices{{"mail", "told", 2}, {"push", "told", 1}, {"mail", "told", 3}, {"mail", "dropped", 1}}
		},
	}
}

func get(t *testing.T, h http.Handler, path, accept string) (status int, header http.Header, body string) {
	t.Helper()
	req := httptest.NewRequest(http.MethodGet, path, nil)
	if accept != "" {
		req.Header.Set("Accept", accept)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, req)
	return w.Code, w.Result().Header, w.Body.String()
}

// parse reads the text format with Prometheus' own parser.
func parse(t interface{ Fatalf(string, ...any) }, text string) map[string]*dto.MetricFamily {
	p := expfmt.NewTextParser(model.UTF8Validation)
	families, err := p.TextToMetricFamilies(strings.NewReader(text))
	if err != nil {
		t.Fatalf("parse: %v\n%s", err, text)
	}
	return families
}

func scrape(t *testing.T, view farm.View) map[string]*dto.MetricFamily {
	t.Helper()
	status, _, body := get(t, metrics.NewHandler(whole(view)), "/metrics", "")
	if status != http.StatusOK {
		t.Fatalf("got status %d: %s", status, body)
	}
	return parse(t, body)
}

func TestEveryMetricInBothFormats(t *testing.T) {
	tests := []struct{ name, accept, kind, golden string }{
		{"text", "", "text/plain; version=0.0.4", "testdata/metrics.txt"},
		{"openmetrics", "application/openmetrics-text;version=1.0.0", "application/openmetrics-text; version=1.0.0", "testdata/openmetrics.txt"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			status, header, body := get(t, metrics.NewHandler(whole(hillfoot())), "/metrics", tt.accept)
			if status != http.StatusOK || !strings.HasPrefix(header.Get("Content-Type"), tt.kind) {
				t.Fatalf("got %d, %q; want 200, %q", status, header.Get("Content-Type"), tt.kind)
			}
			if *update {
				if err := os.WriteFile(tt.golden, []byte(body), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(tt.golden)
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(string(want), body); d != "" {
				t.Error(d)
			}
		})
	}
}

// TestRecipientsInTrouble: who can't be told is seen by its place in the
// configuration, and no address goes out with it.
func TestRecipientsInTrouble(t *testing.T) {
	_, _, body := get(t, metrics.NewHandler(whole(hillfoot())), "/metrics", "")
	for _, want := range []string{
		`binwatch_notice_trouble{by="mail",recipient="mail 1"} 0`, `binwatch_notice_trouble{by="push",recipient="push 2"} 1`,
	} {
		if !strings.Contains(body, want+"\n") {
			t.Errorf("there is no %s", want)
		}
	}
	if strings.Contains(body, "kim@example.org") || strings.Contains(body, "no answer") {
		t.Error("an address or a server's words are shown")
	}
}

// TestNamesThatOthersRelyOn lists what graphs and alarms outside are built on,
// with the labels of each.
func TestNamesThatOthersRelyOn(t *testing.T) {
	got := scrape(t, hillfoot())
	for name, labels := range map[string]string{
		"binwatch_temperature_celsius":                  "bin zone",
		"binwatch_moisture_ratio":                       "bin zone",
		"binwatch_limit_celsius":                        "band bin side zone",
		"binwatch_limit_moisture_ratio":                 "band bin side zone",
		"binwatch_species_activity_ratio":               "bin species zone",
		"binwatch_water_needed_litres":                  "bin zone",
		"binwatch_condition":                            "bin condition urgency zone",
		"binwatch_forecast_seconds":                     "bin condition zone",
		"binwatch_probe_last_reading_timestamp_seconds": "probe",
		"binwatch_readings_total":                       "outcome probe",
		"binwatch_messages_total":                       "outcome",
		"binwatch_journal_file_bytes":                   "",
		"binwatch_influx_waiting_readings":              "",
		"binwatch_notices_total":                        "by outcome",
		"binwatch_notice_trouble":                       "by recipient",
		"binwatch_broker_connected":                     "",
	} {
		family, ok := got[name]
		if !ok {
			t.Errorf("%s is missing", name)
			continue
		}
		var have []string
		for _, l := range family.Metric[0].Label {
			have = append(have, l.GetName())
		}
		if strings.Join(have, " ") != labels {
			t.Errorf("%s has the labels %q, want %q", name, have, labels)
		}
	}
}

// What the program itself takes has the names that everybody's graphs know.
func TestTheProcessIsShown(t *testing.T) {
	cfg := whole(hillfoot())
	cfg.Process = true
	_, _, body := get(t, metrics.NewHandler(cfg), "/metrics", "")
	got := parse(t, body)
	for _, name := range []string{"process_resident_memory_bytes", "process_cpu_seconds_total", "process_open_fds", "go_goroutines"} {
		if got[name] == nil {
			t.Errorf("there is no %s", name)
		}
	}
}

// What stands in a place has its label, and nothing else has.
func TestThePlaceIsALabel(t *testing.T) {
	view := hillfoot()
	view.Bins[0].Place = "glasshouse"
	_, _, body := get(t, metrics.NewHandler(whole(view)), "/metrics", "")
	for line := range strings.Lines(body) {
		want := strings.Contains(line, `bin="bed"`)
		if got := strings.Contains(line, `place="glasshouse"`); got != want {
			t.Errorf("with its place: %t, want %t: %s", got, want, line)
		}
	}
	for _, want := range []string{
		`binwatch_temperature_celsius{bin="bed",place="glasshouse",zone="near"} 27.5`,
		`binwatch_condition{bin="bed",condition="heating",place="glasshouse",urgency="today",zone="near"} 1`,
		`binwatch_zone_judged{bin="crate",zone="all"} 0`,
	} {
		if !strings.Contains(body, want+"\n") {
			t.Errorf("there is no %s", want)
		}
	}
}

// TestAnyViewCanBeScraped is the law: whatever stands in a view, the answer is
// whole, of valid UTF-8 and without a complaint.
func TestAnyViewCanBeScraped(t *testing.T) {
	word := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "a\xffb", "\"\\\n", "bed", "near"}))
	rapid.Check(t, func(rt *rapid.T) {
		view := farm.View{At: noon, Intake: farm.IntakeView{Messages: map[string]int64{word.Draw(rt, "outcome"): 1, word.Draw(rt, "outcome"): 2}}}
		for range rapid.IntRange(0, 3).Draw(rt, "zones") {
			z := farm.ZoneView{Bin: word.Draw(rt, "bin"), Zone: word.Draw(rt, "zone"),
				Levels:  farm.Levels{farm.Temperature: &farm.LevelView{Fresh: true, Value: rapid.Float64().Draw(rt, "temperature")}},
				Outlook: []farm.Outlook{{Condition: farm.Heating, Forecast: farm.Forecast{Crosses: noon}}, {Condition: farm.Heating, Forecast: farm.Forecast{Crosses: noon}}}}
			view.Bins = append(view.Bins, farm.BinView{Name: z.Bin, Zones: []farm.ZoneView{z}})
			view.Standing = append(view.Standing, farm.Standing{Bin: z.Bin, Zone: z.Zone, Probe: word.Draw(rt, "probe"), Condition: farm.Silent})
			view.Probes = append(view.Probes, farm.ProbeView{ID: word.Draw(rt, "id"), At: noon, Counts: map[string]int64{word.Draw(rt, "outcome"): 3}})
		}
		log := &bytes.Buffer{}
		cfg := whole(view)
		cfg.Log = newLog(log)
		status, _, body := get(t, metrics.NewHandler(cfg), "/metrics", "")
		if status != http.StatusOK || log.Len() > 0 {
			rt.Fatalf("status %d, complaint %s", status, log)
		}
		parse(rt, body)
	})
}

// TestPromtoolFindsNothingToSay lets Debian's promtool judge names and help.
func TestPromtoolFindsNothingToSay(t *testing.T) {
	_, _, body := get(t, metrics.NewHandler(whole(hillfoot())), "/metrics", "")
	cmd := exec.Command("promtool", "check", "metrics")
	cmd.Stdin = strings.NewReader(body)
	out, err := cmd.CombinedOutput()
	if err != nil || len(out) > 0 {
		t.Errorf("promtool: %v\n%s", err, out)
	}
}
