package main_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
)

const (
	decadeProbes = 1000
	decade       = 3652 * 24 * time.Hour
	kept         = 400 * 24 * time.Hour // as journal.keep is by itself
	lately       = 24 * time.Hour
)

// BenchmarkDecade is the daemon of 1000 probes in 500 bins with ten years behind it, and a
// watering and a feed of each bin a week: the journal's size, its start, the commands now and
// backup beside it, its page, a scrape, and its memory after all of that.
func BenchmarkDecade(b *testing.B) {
	broker, page, dir := brokertest.StartMosquitto(b, brokertest.Options{}), freeAddress(b), b.TempDir()
	file := filepath.Join(dir, "journal.db")
	cfg := write(b, "binwatchd.yaml", yearYAML(decadeProbes, broker.URL, file, page))
	for b.Loop() {
		b.ReportMetric(float64(yearsBehind(b, cfg, decade, time.Hour)), "kept-readings")
	}
	path, err := program()
	if err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(megabytes(b, file), "journal-MB")
	c := startChild(b, cfg)
	b.ReportMetric(c.says("broker reached").Sub(c.began).Seconds(), "start-s")
	b.ReportMetric(c.worked().Seconds(), "start-cpu-s")
	command := func(what string, args ...string) {
		began, cmd := time.Now(), exec.Command(path, append(args, "--config", cfg)...)
		if out, err := cmd.CombinedOutput(); err != nil {
			b.Fatalf("%s: %v: %s", args[0], err, out)
		}
		b.ReportMetric(time.Since(began).Seconds(), what+"-s")
	}
	command("now", "now")
	for what, path := range map[string]string{"front": "/", "bin": "/bins/bed7?span=1y", "probes": "/probes", "scrape": "/metrics"} {
		began := time.Now()
		get(b, "http://"+page+path)
		b.ReportMetric(milliseconds(time.Since(began)), what+"-ms")
	}
	command("backup", "backup", filepath.Join(dir, "copy.db"))
	b.ReportMetric(megabytes(b, filepath.Join(dir, "copy.db")), "backup-MB")
	b.ReportMetric(c.memory("VmRSS"), "resident-MB")
	b.ReportMetric(c.memory("VmHWM"), "peak-MB")
	c.stop()
}

// yearsBehind writes a past of years, of which the last day is judged, at a pace of its own.
// Of the years of which single readings are kept no more a probe spoke every six hours, which
// leaves as much history as any other pace; of those that are kept, every hour. It gives the
// number of readings that are kept, without the last day's.
func yearsBehind(b *testing.B, cfg string, years, pace time.Duration) (readings int) {
	writePast(b, cfg, years, kept, 6*time.Hour)
	readings = writePast(b, cfg, kept, lately, time.Hour)
	liveThrough(b, cfg, lately, pace)
	return readings
}

// megabytes is the size of a file.
func megabytes(b *testing.B, file string) float64 {
	info, err := os.Stat(file)
	if err != nil {
		b.Fatal(err)
	}
	return float64(info.Size()) / 1e6
}
