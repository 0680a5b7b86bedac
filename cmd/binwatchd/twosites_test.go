package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/influxtest"
	"binwatchd/internal/proctest"
)

// Two sites have the same names for everything but the farm.
const twoSitesYAML = `farm: %s
timezone: UTC
broker: {urls: [%s]}
journal: {path: %q, flush: 1s}
influx: {url: %q, flavour: v1, database: bins}
page: {listen: %q}
probes:
  bed-t: {topic: glass/bed, value: /t, time: /at, measures: temperature}
  bed-m: {topic: glass/bed, value: /m, time: /at, measures: moisture}
bins:
  bed: {species: red, volume: 160 L, zones: {near: {aim: living, probes: [bed-t, bed-m]}}}
`

// A homestead is one of two sites: a daemon with a broker of its own.
type homestead struct {
	t           *testing.T
	farm, label string
	page        string
	broker      *brokertest.Broker
	readings    int     // of each probe
	celsius     float64 // that its bed has
}

// start runs the site's daemon. The first brokers of its list are gone for good.
func (h *homestead) start(db *influxtest.Influxd, gone ...string) {
	h.t.Helper()
	dir := h.t.TempDir()
	h.broker, h.page = brokertest.StartMosquitto(h.t, brokertest.Options{}), proctest.FreeAddr(h.t)
	var urls []string
	for _, u := range append(gone, h.broker.URL) {
		urls = append(urls, fmt.Sprintf("%q", u))
	}
	cfg := write(h.t, dir, "farm.yaml", fmt.Sprintf(twoSitesYAML, h.farm, strings.Join(urls, ", "), filepath.Join(dir, "journal.db"), db.URL, h.page))
	startChild(h.t, nil, "run", "--config", cfg).Says("broker reached")
}

// speak publishes a reading a minute, the last one stamped end.
func (h *homestead) speak(end time.Time) {
	h.t.Helper()
	c := brokertest.Client(h.t, h.broker.URL, "glass", "", "")
	defer c.Disconnect(50)
	for i := range h.readings {
		at := end.Add(time.Duration(i-h.readings+1) * time.Minute)
		body := fmt.Sprintf(`{"t": %.2f, "m": 76.5, "at": %q}`, h.celsius, at.Format(time.RFC3339))
		brokertest.Done(h.t, "publish", c.Publish("glass/bed", 1, false, body))
	}
}

// One database and one scraper serve two sites whose bins, probes, topics and
// times are the same: the points are kept apart by farm, the series by site.
// One site's first broker is away, so it falls through to the next of its list.
func TestTwoSites(t *testing.T) {
	t.Parallel()
	db := influxtest.StartInfluxd(t, influxtest.Options{})
	db.Do("CREATE DATABASE bins")
	sites := []*homestead{
		{t: t, farm: "Hillfoot Nursery", label: "hillfoot", readings: 30, celsius: 22},
		{t: t, farm: "Hillfoot Lower Field", label: "lower-field", readings: 17, celsius: 19.5},
	}
	sites[0].start(db)
	sites[1].start(db, "tcp://"+proctest.FreeAddr(t))
	end := time.Now().UTC().Truncate(time.Second)
	for _, h := range sites {
		h.speak(end)
	}
	api := scrapeSites(t, sites)
	for _, h := range sites {
		h.checkSeries(api)
	}
	for _, metric := range []string{"binwatch_temperature_celsius", "binwatch_moisture_ratio"} {
		if n := askNumber(api, fmt.Sprintf(`count(%s{bin="bed",zone="near"})`, metric)); n != "2" {
			t.Errorf("%s of bed/near: got %s series, want one of each site", metric, n)
		}
	}
	for _, h := range sites {
		h.awaitForwarded()
	}
	for _, h := range sites {
		h.checkPoints(db)
	}
	var farms []string
	for _, row := range db.Query("bins", `SHOW TAG VALUES FROM bin_levels WITH KEY = farm`) {
		farms = append(farms, fmt.Sprint(row[1]))
	}
	slices.Sort(farms)
	if want := []string{"Hillfoot Lower Field", "Hillfoot Nursery"}; !slices.Equal(farms, want) {
		t.Errorf("got points of the farms %q, want %q", farms, want)
	}
}

// checkSeries wants the site's own numbers under its label.
func (h *homestead) checkSeries(api string) {
	h.t.Helper()
	for query, want := range map[string]string{
		`binwatch_readings_total{probe="bed-t",outcome="believed",site=%q}`: fmt.Sprint(h.readings),
		`binwatch_temperature_celsius{bin="bed",zone="near",site=%q}`:       fmt.Sprint(h.celsius),
		`binwatch_broker_connected{site=%q}`:                                "1",
	} {
		query, got := fmt.Sprintf(query, h.label), ""
		proctest.Eventually(h.t, query+" is "+want, func() bool {
			got = askNumber(api, query)
			return got == want
		})
	}
}

// awaitForwarded waits until nothing is owed to the database. It is served every
// ten seconds, and for the last readings it may take a second turn.
func (h *homestead) awaitForwarded() {
	h.t.Helper()
	deadline, tick := time.After(5*time.Minute), time.NewTicker(100*time.Millisecond)
	defer tick.Stop()
	for !strings.Contains(metricsOf(h.t, h.page), "\nbinwatch_influx_waiting_readings 0\n") {
		select {
		case <-deadline:
			h.t.Fatalf("%s has not forwarded all", h.farm)
		case <-tick.C:
		}
	}
}

// checkPoints wants every reading of the site in the database, once, and none
// of the other site's among them.
func (h *homestead) checkPoints(db *influxtest.Influxd) {
	h.t.Helper()
	for field, want := range map[string]float64{"temperature_c": h.celsius, "moisture_pct": 76.5} {
		rows := db.Query("bins", fmt.Sprintf(`SELECT COUNT(%[1]s), MIN(%[1]s), MAX(%[1]s) FROM bin_levels WHERE farm = '%[2]s'`, field, h.farm))
		if len(rows) != 1 {
			h.t.Errorf("%s of %s: got %v", field, h.farm, rows)
			continue
		}
		if got := rows[0][1:]; !slices.Equal(got, []any{float64(h.readings), want, want}) {
			h.t.Errorf("%s of %s: got count, least and most %v, want %d of %v", field, h.farm, got, h.readings, want)
		}
	}
}

// scrapeSites runs one Prometheus with a target a site, five times a second.
func scrapeSites(t *testing.T, sites []*homestead) (api string) {
	t.Helper()
	text := "scrape_configs:\n- job_name: binwatchd\n  scrape_interval: 200ms\n  scrape_timeout: 200ms\n  static_configs:\n"
	for _, h := range sites {
		text += fmt.Sprintf("  - {targets: [%q], labels: {site: %q}}\n", h.page, h.label)
	}
	conf := write(t, t.TempDir(), "prometheus.yml", text)
	api = startPrometheus(t, conf)
	for _, h := range sites {
		proctest.Eventually(t, "prometheus scrapes "+h.farm, func() bool {
			return askNumber(api, fmt.Sprintf(`up{instance=%q,site=%q}`, h.page, h.label)) == "1" // nobody else scrapes this address
		})
	}
	return api
}

// askNumber gives the value of a query's one series, or what hindered it.
func askNumber(api, text string) string {
	found, err := query(api, text)
	if err != nil {
		return err.Error()
	}
	if len(found) != 1 {
		return fmt.Sprintf("%d series", len(found))
	}
	return found[0]
}
