package main

import (
	"fmt"
	"net/http"
	"path/filepath"
	"strings"
	"testing"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/influxtest"
	"binwatchd/internal/proctest"
)

const unforwardedYAML = `farm: Hillfoot Nursery
timezone: UTC
broker: {url: %q}
journal: {path: %q, flush: 1s}
influx: {url: %q, flavour: v1, database: bins}
page: {listen: %q}
probes:
  bed-t: {topic: glass/t, measures: temperature}
  bed-m: {topic: glass/m, measures: moisture}
bins:
  bed: {species: red, zones: {near: {aim: living, probes: [bed-t, bed-m]}}}
`

// A database that is not there yet, and one that refuses a kind of rows for
// good: the keeper sees both where they look, and nothing is lost.
func TestDatabaseTroubleIsSeen(t *testing.T) {
	t.Parallel() // it waits more than it works
	broker, db := brokertest.StartMosquitto(t, brokertest.Options{}), influxtest.StartInfluxd(t, influxtest.Options{})
	dir, page := t.TempDir(), proctest.FreeAddr(t)
	cfg := write(t, dir, "farm.yaml", fmt.Sprintf(unforwardedYAML, broker.URL, filepath.Join(dir, "journal.db"), db.URL, page))
	now := func() string { out, _ := runChild(t, "now", "--config", cfg); return out }
	daemon := startChild(t, nil, "run", "--config", cfg)
	daemon.Says("broker reached")
	for range 3 {
		broker.Publish("glass/t", 1, false, "21.5")
	}
	proctest.Eventually(t, "now tells of the missing database", func() bool {
		return strings.Contains(now(), `database not found: "bins"`)
	})

	daemon.Stop()
	db.Do("CREATE DATABASE bins")
	daemon = startChild(t, nil, "run", "--config", cfg)
	proctest.Eventually(t, "all readings arrive", func() bool { return db.Count("bins", "bin_levels", "raw") == 3 })
	proctest.Eventually(t, "now is content", func() bool { return !strings.Contains(now(), "unforwarded") })

	// The type of a field is the database's for good (InfluxDB 1.6 documentation,
	// field type conflict).
	resp, err := http.Post(db.URL+"/write?db=bins", "text/plain", strings.NewReader(`bin_levels,probe=other moisture_pct="moist"`))
	if err != nil || resp.StatusCode != http.StatusNoContent {
		t.Fatalf("write: %v %v", resp, err)
	}
	resp.Body.Close()
	broker.Publish("glass/m", 1, false, "77.5")
	proctest.Eventually(t, "now shows the refused row", func() bool {
		return strings.Contains(now(), "Rows that the database has refused for good: 1.") && strings.Contains(now(), "probe=bed-m")
	})
	if body := fetched(t, "http://"+page+"/probes"); !strings.Contains(body, "Rows that the database has refused for good: 1<") {
		t.Error("the page does not show the refused row")
	}
	daemon.Stop()
	if out := now(); !strings.Contains(out, "Rows that the database has refused for good: 1.") {
		t.Errorf("without a daemon the refused row is not shown:\n%s", out)
	}
}
