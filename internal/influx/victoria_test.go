package influx_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/influx"
	"binwatchd/internal/influxtest"
	"binwatchd/internal/proctest"
)

// TestVersion2ThroughAnOutage runs against a real server of /api/v2/write, which
// keeps both of two points of one time: so it shows that nothing is lost, and
// that rows of a quiet run are sent once.
func TestVersion2ThroughAnOutage(t *testing.T) {
	s := influxtest.StartVictoria(t)
	f, m := glasshouse(), &memory{}
	cfg := influx.Config{Settings: influx.Settings{URL: s.URL, Flavour: influx.V2, Org: "hillfoot", Bucket: "bins"}, Token: "t", Now: time.Now, Pace: eager}
	r := forward(t, cfg, f, m, nil)
	reached := func() bool { return r.Figures().Reached == m.last() }
	grow(m, f, 0, 1, 10*time.Minute)
	proctest.Eventually(t, "first day", reached)
	s.Stop()
	grow(m, f, 1, 7, 10*time.Minute)
	proctest.Eventually(t, "a failure", func() bool { return r.Figures().Trouble != "" })
	s.Start()
	proctest.Eventually(t, "the week", reached)

	want, got := map[string]int{}, map[string]int{}
	for _, e := range m.events {
		if p := e.Reading.Probe; p != "" {
			want[p]++
		}
	}
	for _, series := range s.Export("bin_levels_raw") {
		if series.Labels["farm"] != "Hillfoot Nursery" {
			t.Errorf("labels %v, want the farm's name", series.Labels)
		}
		got[series.Labels["probe"]] += len(series.Values)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("points of each probe: %s", d)
	}
	if marks := s.Export("bin_marks_raised"); len(marks) != 1 || len(marks[0].Values) != 2 {
		t.Errorf("marks %+v, want one series with a point for each of two stretches of days", marks)
	}
}
