package metrics_test

import (
	"math"
	"strings"
	"testing"
	"time"

	dto "github.com/prometheus/client_model/go"

	"binwatchd/internal/farm"
	"binwatchd/internal/metrics"
)

// value finds a series by its labels, given as name=value words.
func value(family *dto.MetricFamily, labels ...string) (float64, bool) {
	for _, m := range family.GetMetric() {
		have := map[string]bool{}
		for _, l := range m.Label {
			have[l.GetName()+"="+l.GetValue()] = true
		}
		all := true
		for _, want := range labels {
			all = all && have[want]
		}
		if all {
			return m.GetGauge().GetValue() + m.GetCounter().GetValue() + m.GetUntyped().GetValue(), true
		}
	}
	return 0, false
}

func TestValuesGoWhenTheyAreNoLongerFresh(t *testing.T) {
	tests := []struct {
		name          string
		change        func(*farm.ZoneView)
		gone, staying []string
	}{
		{"temperature stale", func(z *farm.ZoneView) { z.Level(farm.Temperature).Fresh = false },
			[]string{"temperature_celsius", "species_activity_ratio", "forecast_seconds"}, []string{"moisture_ratio", "water_needed_litres"}},
		{"temperature never seen", func(z *farm.ZoneView) { delete(z.Levels, farm.Temperature) },
			[]string{"temperature_celsius", "species_activity_ratio", "forecast_seconds"}, []string{"moisture_ratio", "water_needed_litres"}},
		{"moisture stale", func(z *farm.ZoneView) { z.Level(farm.Moisture).Fresh = false },
			[]string{"moisture_ratio", "water_needed_litres"}, []string{"temperature_celsius", "species_activity_ratio", "forecast_seconds"}},
		{"a drying forecast without fresh moisture", func(z *farm.ZoneView) {
			z.Level(farm.Moisture).Fresh = false
			z.Outlook[0].Condition = farm.Drying
		}, []string{"forecast_seconds"}, []string{"temperature_celsius"}},
		{"a forecast of days needs no probe", func(z *farm.ZoneView) {
			z.Levels = nil
			z.Outlook[0].Condition = farm.FeedDue
		}, []string{"temperature_celsius"}, []string{"forecast_seconds"}},
		{"not a number", func(z *farm.ZoneView) { z.Level(farm.Temperature).Value = math.NaN() },
			[]string{"temperature_celsius"}, []string{"moisture_ratio"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			view := hillfoot()
			tt.change(&view.Bins[0].Zones[0])
			got := scrape(t, view)
			for _, name := range tt.gone {
				if v, ok := value(got["binwatch_"+name], "bin=bed", "zone=near"); ok {
					t.Errorf("%s is still shown: %v", name, v)
				}
			}
			for _, name := range tt.staying {
				if _, ok := value(got["binwatch_"+name], "bin=bed", "zone=near"); !ok {
					t.Errorf("%s has gone as well", name)
				}
			}
		})
	}
}

// A zone of which part is not known, or whose lid is off, is not judged.
func TestAZoneIsJudgedByAllThatItsProbesMeasure(t *testing.T) {
	for name, alter := range map[string]func(*farm.ZoneView, time.Time){
		"no fresh moisture": func(z *farm.ZoneView, _ time.Time) {
			z.Unknown = []farm.Unknown{{Quantity: farm.Moisture, Why: "no fresh reading"}}
		},
		"lid off":       func(z *farm.ZoneView, now time.Time) { until := now.Add(time.Minute); z.LidOff = &until },
		"nothing known": func(z *farm.ZoneView, _ time.Time) { z.Unjudged = "no fresh reading" },
	} {
		view := hillfoot()
		if v, _ := value(scrape(t, view)["binwatch_zone_judged"], "bin=bed", "zone=near"); v != 1 {
			t.Errorf("%s: a zone of which all is known shows %v", name, v)
		}
		alter(&view.Bins[0].Zones[0], view.At)
		if v, ok := value(scrape(t, view)["binwatch_zone_judged"], "bin=bed", "zone=near"); v != 0 || !ok {
			t.Errorf("%s: judged shows %v, %v", name, v, ok)
		}
	}
}

func TestForecastCountsDownToNothing(t *testing.T) {
	for _, tt := range []struct {
		name string
		now  time.Time
		want float64
	}{
		{"ahead", noon.Add(time.Hour), 5 * 3600},
		{"passed", noon.Add(7 * time.Hour), 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			view := hillfoot()
			view.At = tt.now
			got, ok := value(scrape(t, view)["binwatch_forecast_seconds"], "condition=heating")
			if !ok || got != tt.want {
				t.Errorf("got %v (%t), want %v", got, ok, tt.want)
			}
		})
	}
}

func TestWithoutALookOnlyTheMachineryIsShown(t *testing.T) {
	cfg := whole(farm.View{})
	cfg.Look = func() (farm.View, bool) { return farm.View{}, false }
	_, _, body := get(t, metrics.NewHandler(cfg), "/metrics", "")
	got := parse(t, body)
	if v, ok := value(got["binwatch_broker_connected"]); !ok || v != 0 {
		t.Errorf("broker_connected %v (%t), want 0", v, ok)
	}
	if v, ok := value(got["binwatch_influx_waiting_readings"]); !ok || v != 12 {
		t.Errorf("influx_waiting_readings %v (%t), want 12", v, ok)
	}
	if _, ok := got["binwatch_readings_total"]; ok {
		t.Error("readings are shown without a look at the farm")
	}
}

func TestWithoutDatabaseNothingWaits(t *testing.T) {
	cfg := whole(hillfoot())
	cfg.Influx, cfg.Notices, cfg.Journal = nil, nil, func() (metrics.Journal, bool) { return metrics.Journal{}, false }
	_, _, body := get(t, metrics.NewHandler(cfg), "/metrics", "")
	for _, name := range []string{"binwatch_influx", "binwatch_notices", "binwatch_journal_file"} {
		if strings.Contains(body, name) {
			t.Errorf("%s is shown without anything behind it", name)
		}
	}
}
