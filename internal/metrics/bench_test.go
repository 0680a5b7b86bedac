package metrics_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"

	"binwatchd/internal/farm"
	"binwatchd/internal/metrics"
)

// BenchmarkScrape is a scrape of 200 probes in 100 bins, without what the look and the
// journal's sizes take.
func BenchmarkScrape(b *testing.B) {
	const probes = 200
	view := hillfoot()
	zone := view.Bins[0].Zones[0]
	view.Bins, view.Probes = nil, nil
	for i := range probes / 2 {
		zone.Bin = fmt.Sprintf("bed%d", i)
		view.Bins = append(view.Bins, farm.BinView{Name: zone.Bin, Zones: []farm.ZoneView{zone}})
	}
	for i := range probes {
		view.Probes = append(view.Probes, farm.ProbeView{ID: fmt.Sprintf("probe%d", i), At: noon, Counts: map[string]int64{farm.OutcomeBelieved: 40}})
	}
	cfg := whole(view)
	cfg.Process, cfg.Starts.Rejected = true, []string{"missing", "no value", "not a number", "not JSON", "out of range"}
	h, r := metrics.NewHandler(cfg), httptest.NewRequest(http.MethodGet, "/metrics", nil)
	b.ReportAllocs()
	for b.Loop() {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code != http.StatusOK {
			b.Fatal(w.Code)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/1000/float64(b.N)/probes, "ms/probe")
}
