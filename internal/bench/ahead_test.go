package main_test

import (
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
)

// BenchmarkAhead is the command that lists what comes, beside the daemon of a farm of 40
// zones with a year of hourly readings and weekly lines in the logbook of each.
func BenchmarkAhead(b *testing.B) {
	const zones, runs = 40, 11
	broker := brokertest.StartMosquitto(b, brokertest.Options{})
	cfg := write(b, "binwatchd.yaml", yearYAML(2*zones, broker.URL, filepath.Join(b.TempDir(), "journal.db"), freeAddress(b))+"need: [{castings: 200 L, by: 10 Apr}]\n")
	for b.Loop() {
		liveAYear(b, cfg, time.Hour)
	}
	c := startChild(b, cfg)
	c.says("broker reached")
	path, err := program()
	if err != nil {
		b.Fatal(err)
	}
	var took []time.Duration
	things := 0
	for range runs {
		began := time.Now()
		out, err := exec.Command(path, "ahead", "--json", "--config", cfg).Output()
		if err != nil {
			b.Fatalf("ahead: %v: %s", err, out)
		}
		took = append(took, time.Since(began))
		things = strings.Count(string(out), `"kind":`)
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[runs/2].Microseconds())/1000, "ahead-ms")
	b.ReportMetric(float64(things), "things")
	c.stop()
}
