package main_test

import (
	"fmt"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
)

const (
	nurseryBins  = 200
	nurserySheds = 4
	nurseryYears = 3 * 365 * 24 * time.Hour
)

// BenchmarkNursery is the daemon of 200 bins in four sheds with three probes each and three
// years behind it (yearsBehind): its journal's size, its start, the page at first sight, a
// command beside it, a reload, and its memory after all of that. The letters that such a
// farm sends are counted by BenchmarkNight of package notify.
func BenchmarkNursery(b *testing.B) {
	const times = 11
	broker := brokertest.StartMosquitto(b, brokertest.Options{})
	page := freeAddress(b)
	file := filepath.Join(b.TempDir(), "journal.db")
	cfg := write(b, "binwatchd.yaml", nurseryYAML(broker.URL, file, page))
	for b.Loop() {
		b.ReportMetric(float64(yearsBehind(b, cfg, nurseryYears, 10*time.Minute)), "kept-readings")
	}
	path, err := program()
	if err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(megabytes(b, file), "journal-MB")
	c := startChild(b, cfg)
	b.ReportMetric(c.says("broker reached").Sub(c.began).Seconds(), "start-s")
	b.ReportMetric(c.worked().Seconds(), "start-cpu-s")
	middle := func(what string, do func()) {
		var took []time.Duration
		for range times {
			began := time.Now()
			do()
			took = append(took, time.Since(began))
		}
		slices.Sort(took)
		b.ReportMetric(milliseconds(took[times/2]), what)
	}
	middle("front-ms", func() { get(b, "http://"+page+"/") })
	middle("probes-ms", func() { get(b, "http://"+page+"/probes") })
	middle("now-ms", func() {
		if out, err := exec.Command(path, "now", "--config", cfg).CombinedOutput(); err != nil {
			b.Fatalf("now: %v: %s", err, out)
		}
	})
	middle("reload-ms", func() {
		if err := c.cmd.Process.Signal(syscall.SIGHUP); err != nil {
			b.Fatal(err)
		}
		c.says("configuration reloaded")
	})
	b.ReportMetric(c.memory("VmRSS"), "resident-MB")
	b.ReportMetric(c.memory("VmHWM"), "peak-MB")
	c.stop()
}

func milliseconds(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// nurseryYAML has bins of a temperature and two moistures each, by shed.
func nurseryYAML(broker, journal, page string) string {
	var probes, bins, places strings.Builder
	for i := range nurseryBins {
		name := fmt.Sprintf("shed-%d-%03d", i*nurserySheds/nurseryBins, i)
		fmt.Fprintf(&bins, "  %[1]s: {species: red, volume: 100 L, zones: {all: {aim: living, probes: [%[1]s-t, %[1]s-m, %[1]s-n]}}}\n", name)
	}
	for shed := range nurserySheds {
		fmt.Fprintf(&places, "  shed-%[1]d: {bins: [\"shed-%[1]d-*\"]}\n", shed)
	}
	for _, p := range []string{"t", "m", "n"} {
		measures := map[string]string{"t": "temperature", "m": "moisture", "n": "moisture"}[p]
		fmt.Fprintf(&probes, "  \"shed-{s}-{n}-%[1]s\": {topic: \"shed/{s}/{n}/%[1]s\", measures: %[2]s}\n", p, measures)
	}
	return fmt.Sprintf("farm: Hillfoot Nursery\ntimezone: UTC\nbroker: {url: %q}\njournal: {path: %q}\npage: {listen: %q}\nprobes:\n%splaces:\n%sbins:\n%s", broker, journal, page, &probes, &places, &bins)
}
