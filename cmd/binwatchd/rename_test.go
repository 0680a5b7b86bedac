package main

import (
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/farm"
	"binwatchd/internal/influxtest"
	"binwatchd/internal/proctest"
)

// A bin and its probe are renamed while the daemon runs: what stands raised goes on and
// is told to nobody again, the logbook, the page's old address and the metrics follow, and
// after that the old name can be forgotten.
func TestRename(t *testing.T) {
	t.Parallel()
	b := brokertest.StartMosquitto(t, brokertest.Options{})
	dir, addr := t.TempDir(), proctest.FreeAddr(t)
	path := filepath.Join(dir, "binwatchd.yaml")
	put := func(bin, probe, was, probeWas string) {
		write(t, dir, "binwatchd.yaml", fmt.Sprintf(`farm: Hillfoot Nursery
timezone: UTC
broker: {url: %q}
journal: {path: %q, flush: 1s}
page: {listen: %q}
probes:
  %s: {topic: bed/t, value: /t, time: /at, measures: temperature%s}
bins:
  %s: {species: red, zones: {all: {aim: living, probes: [%s]}}%s}
`, b.URL, filepath.Join(dir, "journal.db"), addr, probe, probeWas, bin, probe, was))
	}
	put("linden-02", "linden-02-t", "", "")
	c := startChild(t, nil, "run", "--config", path)
	c.Says("broker reached")
	client := brokertest.Client(t, b.URL, "", "", "")
	defer client.Disconnect(50)
	begin := time.Now().UTC().Add(-10 * time.Hour)
	for at := time.Duration(0); at < 3*time.Hour; at += 10 * time.Minute {
		body := fmt.Sprintf(`{"t": 27, "at": %q}`, begin.Add(at).Format(time.RFC3339))
		brokertest.Done(t, "publish", client.Publish("bed/t", 1, false, body))
	}
	raised := waitRaised(t, path, farm.TooHot)
	if _, code := runChild(t, "jot", "linden-02", "fed", "2", "kg", "--config", path); code != 0 {
		t.Fatalf("jot: exit %d", code)
	}
	told := strings.Count(c.Log.String(), "msg=\"condition ")

	put("oak-01", "oak-01-t", ", was: linden-02", ", was: linden-02-t")
	hangup(t, c)
	c.Says("configuration reloaded")
	c.Says("was=linden-02 is=oak-01")
	same := func() {
		t.Helper()
		got := waitRaised(t, path, farm.TooHot)
		if got.Episode != raised.Episode || got.Bin != "oak-01" || !got.Since.Equal(raised.Since) {
			t.Errorf("stands raised: %+v; want the episode %s of oak-01", got, raised.Episode)
		}
		if out, _ := runChild(t, "export", "--what", "logbook", "--config", path); strings.Count(out, ",oak-01,") != 1 || strings.Contains(out, "linden") {
			t.Errorf("the logbook is\n%s", out)
		}
	}
	same()
	if n := strings.Count(c.Log.String(), "msg=\"condition "); n != told {
		t.Errorf("%d changes were told of before, %d after the rename", told, n)
	}
	if out, _ := runChild(t, "export", "--what", "readings", "--config", path); strings.Count(out, "oak-01-t,oak-01,all,") < 18 || strings.Contains(out, "linden") {
		t.Errorf("the readings are\n%.2000s", out)
	}
	if out, _ := runChild(t, "export", "--what", "names", "--config", path); !strings.Contains(out, "bin,1,linden-02,") || !strings.Contains(out, "bin,1,oak-01,") {
		t.Errorf("the names are\n%s", out)
	}
	if out, code := runChild(t, "hush", "linden-02", "--for", "2h", "--config", path); code != 0 {
		t.Errorf("hush by the former name: exit %d, %s", code, out)
	}
	resp, err := http.Get("http://" + addr + "/bins/linden-02")
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if got := resp.Request.URL.Path; got != "/bins/oak-01" || resp.StatusCode != http.StatusOK {
		t.Errorf("the old address led to %s, %s", got, resp.Status)
	}

	c.Stop()
	put("oak-01", "oak-01-t", "", "")
	same() // nobody runs
	c = startChild(t, nil, "run", "--config", path)
	c.Says("broker reached")
	same()

	// The bin is given up, and its probe goes into another, which has its level from the first
	// reading there on.
	put("oak-01", "oak-01-t", fmt.Sprintf(`, retired: %s}
  elm-01: {species: red, zones: {all: {aim: living, probes: [oak-01-t]}}`, begin.AddDate(0, 0, -1).Format(time.DateOnly)), "")
	hangup(t, c)
	c.Says("Oak-01 was retired on")
	c.Says("configuration reloaded")
	v := nowView(t, path)
	if len(v.Standing) != 0 || len(v.Retired) != 1 || len(v.Bins) != 1 || v.Bins[0].Name != "elm-01" || v.Bins[0].Zones[0].Level(farm.Temperature) != nil {
		t.Errorf("after the bin is retired: %+v", v)
	}
	now := time.Now().UTC().Truncate(time.Second)
	brokertest.Done(t, "publish", client.Publish("bed/t", 1, false, fmt.Sprintf(`{"t": 20.2, "at": %q}`, now.Format(time.RFC3339))))
	proctest.Eventually(t, "the probe is heard in its new bin", func() bool {
		v := nowView(t, path)
		l := v.Bins[0].Zones[0].Level(farm.Temperature)
		return l != nil && l.Fresh && l.Value == 20.2 && l.At.Equal(now)
	})
	for at, want := range map[string]string{
		"/bins/oak-01?span=2d": "Retired", "/": "Retired: <a href=\"/bins/oak-01#", "/jot": "elm-01", "/metrics": `bin="elm-01"`,
	} {
		resp, err := http.Get("http://" + addr + at)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(resp.Body)
		resp.Body.Close()
		if err != nil || resp.StatusCode != http.StatusOK || !strings.Contains(string(body), want) {
			t.Errorf("%s: %s, %v, want %q in\n%s", at, resp.Status, err, want, body)
		}
		if old := at == "/metrics" || at == "/jot"; old && strings.Contains(string(body), "oak-01\"") {
			t.Errorf("%s still has oak-01:\n%s", at, body)
		}
	}
	c.Stop() // so that what waited is on disk
	out, _ := runChild(t, "export", "--what", "readings", "--config", path)
	if strings.Count(out, "oak-01-t,oak-01,all,") < 18 || strings.Count(out, "oak-01-t,elm-01,all,") != 1 {
		t.Errorf("the readings are\n%.2000s", out)
	}
}

// What a tub holds is a point whenever a line, or a line struck, has changed it. After a
// rename the points that are there keep the old name until they are sent again; new ones bear
// the new.
func TestPointsOfWhatIsRenamed(t *testing.T) {
	t.Parallel() // it waits more than it works
	broker, db := brokertest.StartMosquitto(t, brokertest.Options{}), influxtest.StartInfluxd(t, influxtest.Options{})
	db.Do("CREATE DATABASE bins")
	dir := t.TempDir()
	path := filepath.Join(dir, "binwatchd.yaml")
	put := func(bin, probe, wasBin, wasProbe string) {
		write(t, dir, "binwatchd.yaml", fmt.Sprintf(`farm: Hillfoot Nursery
timezone: UTC
broker: {url: %q}
journal: {path: %q, flush: 1s}
influx: {url: %q, flavour: v1, database: bins}
probes:
  %s: {topic: store/m, measures: moisture, unit: "%%"%s}
bins:
  %s: {volume: 100 L, zones: {all: {aim: keeping, probes: [%s], holds: 60 L}}%s}
`, broker.URL, filepath.Join(dir, "journal.db"), db.URL, probe, wasProbe, bin, probe, wasBin))
	}
	run := func(args ...string) string {
		t.Helper()
		out, code := runChild(t, append(args, "--config", path)...)
		if code != 0 {
			t.Fatalf("%v: exit %d: %s", args, code, out)
		}
		return out
	}
	bins := func(field string) string {
		var got []string
		for _, row := range db.Query("bins", fmt.Sprintf(`SELECT "bin", %q FROM "bin_levels"`, field)) {
			got = append(got, fmt.Sprint(row[1], " ", row[2]))
		}
		return strings.Join(got, ", ")
	}
	wait := func(what, field, want string) {
		t.Helper()
		proctest.Eventually(t, what+": "+want, func() bool { return bins(field) == want })
	}
	put("crate", "crate-m", "", "")
	c := startChild(t, nil, "run", "--config", path)
	c.Says("broker reached")
	broker.Publish("store/m", 1, false, "47.5")
	run("jot", "sold", "10", "L", "from", "crate")
	wait("sold", "castings_litres", "crate 50")
	run("jot", "crate", "sold", "5", "L")
	wait("sold again", "castings_litres", "crate 50, crate 45")
	last := strings.Split(strings.TrimSpace(run("jot", "--last")), "\n")
	run("jot", "--strike", strings.Fields(last[len(last)-1])[0])
	wait("struck", "castings_litres", "crate 50, crate 45, crate 50")
	wait("heard", "moisture_pct", "crate 47.5")

	put("chest", "chest-m", ", was: crate", ", was: crate-m")
	hangup(t, c)
	c.Says("was=crate is=chest")
	broker.Publish("store/m", 1, false, "47")
	run("jot", "sold", "20", "L", "from", "chest")
	wait("renamed", "castings_litres", "crate 50, crate 45, crate 50, chest 30")
	wait("renamed", "moisture_pct", "crate 47.5, chest 47")
	run("resend", "--from", time.Now().UTC().Add(-time.Hour).Format(time.RFC3339))
	proctest.Eventually(t, "the past under the new name, beside the old points", func() bool {
		tags := map[string]int{}
		for _, is := range strings.Split(bins("moisture_pct"), ", ") {
			tags[is]++
		}
		stocks := bins("castings_litres")
		return tags["chest 47.5"] == 1 && tags["chest 47"] == 1 && tags["crate 47.5"] == 1 && strings.Count(stocks, "chest") == 4 && strings.Count(stocks, "crate") == 3
	})
	c.Stop()
}
