package main

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/influxtest"
	"binwatchd/internal/proctest"
)

const dashboardsYAML = `farm: Hillfoot Nursery
timezone: UTC
broker: {url: %q}
journal: {path: %q, flush: 1s}
influx: {url: %q, flavour: v2, org: hillfoot, bucket: bins, token: {env: DASH_TOKEN}}
page: {listen: %q}
probes:
  bed-t: {topic: glass/bed, value: /t, time: /at, measures: temperature}
  bed-m: {topic: glass/bed, value: /m, time: /at, measures: moisture}
  bed-t2: {topic: glass/bed, value: /t2, time: /at, measures: temperature}
  bed-m2: {topic: glass/bed, value: /m2, time: /at, measures: moisture}
  glass-air: {topic: glass/air, value: /t, time: /at, measures: temperature}
  crate-t: {topic: store/crate, value: /t, time: /at, measures: temperature}
  crate-m: {topic: store/crate, value: /m, time: /at, measures: moisture}
  box-t: {topic: cellar/box, value: /t, time: /at, measures: temperature}
  crate-b: {topic: store/crate, value: /b, time: /at, measures: battery, low: 3.3, of: [crate-t, crate-m]}
bins:
  bed: {species: [red, blue], volume: 160 L, ambient: glass-air, zones: {near: {aim: living, probes: [bed-t, bed-m, bed-t2, bed-m2], moisture: {thrive: 70%%..82%%, survive: 58%%..88%%}}}}
  box: {species: red, volume: 60 L, zones: {all: {aim: living, probes: [box-t]}}}
  crate: {volume: 60 L, zones: {all: {aim: keeping, probes: [crate-t, crate-m]}}}
tell: [{webhook: %q, secret: {env: DASH_HOOK}}]
`

// A site is a daemon that has lived through three days, with a database that
// knows Flux and a Prometheus that scrapes it by the files that are shipped.
type site struct {
	t      *testing.T
	cfg    string
	broker *brokertest.Broker
	db     *influxtest.Influxd
	page   string
	from   time.Time
}

func startSite(t *testing.T) *site {
	t.Helper()
	dir := t.TempDir()
	h := startHook(t)
	s := &site{t: t, broker: brokertest.StartMosquitto(t, brokertest.Options{}), db: influxtest.StartInfluxd(t, influxtest.Options{Flux: true}), page: proctest.FreeAddr(t), from: time.Now().Add(-3 * 24 * time.Hour)}
	s.db.Do("CREATE DATABASE bins")
	s.cfg = write(t, dir, "farm.yaml", fmt.Sprintf(dashboardsYAML, s.broker.URL, filepath.Join(dir, "journal.db"), s.db.URL, s.page, h.url))
	t.Setenv("DASH_TOKEN", "any")
	t.Setenv("DASH_HOOK", h.secret)
	liveThrough(t, s.cfg, s.from, time.Now(), s.live)
	startChild(t, nil, "run", "--config", s.cfg).Says("broker reached")
	if out, code := runChild(t, "jot", "box/all", "fed", "2", "kg", "of", "grain", "--config", s.cfg); code != 0 {
		t.Fatalf("jot: exit %d: %s", code, out)
	}
	if out, code := runChild(t, "jot", "box/all", "watered", "1", "L", "--config", s.cfg); code != 0 {
		t.Fatalf("jot: exit %d: %s", code, out)
	}
	return s
}

// live publishes what the nursery says at a time: the bed dries by two points
// a day and heats towards harm in the end, and two hours of the crate are a fault code.
func (s *site) live(at time.Time, publish func(topic, payload string)) {
	hours := at.Sub(s.from).Hours()
	stamp := at.UTC().Format(time.RFC3339Nano)
	bed := 22.0
	if hours > 48 {
		bed += min(8.6, (hours-48)*0.36)
	}
	crate := 9.5
	if hours > 30 && hours < 32 {
		crate = 85
	}
	publish("glass/bed", fmt.Sprintf(`{"t": %.2f, "m": %.2f, "t2": %.2f, "m2": %.2f, "at": %q}`, bed, 79-hours/12, bed+1, 78.5-hours/12, stamp))
	publish("glass/air", fmt.Sprintf(`{"t": 18.5, "at": %q}`, stamp))
	publish("cellar/box", fmt.Sprintf(`{"t": 20, "at": %q}`, stamp))
	publish("store/crate", fmt.Sprintf(`{"t": %.1f, "m": %.2f, "b": 3.8, "at": %q}`, crate, 46.8-hours/12, stamp))
}

// Every query that is shipped finds something at a farm in trouble.
func TestDashboards(t *testing.T) {
	s := startSite(t)
	probes := brokertest.Client(t, s.broker.URL, "probes", "", "")
	publish := func(topic, payload string) {
		brokertest.Done(t, "publish", probes.Publish(topic, 1, false, payload))
	}
	api := startScraper(t, s.page)
	var said time.Time
	for _, q := range append(shippedQueries(t, "prometheus/queries.promql", "#"), drawnQueries(t, "grafana-prometheus", "expr")...) {
		q.text = strings.ReplaceAll(q.text, "$bin", "bed")
		found := ""
		proctest.Eventually(t, q.title+": "+q.text, func() bool {
			if now := time.Now(); now.Sub(said) > 200*time.Millisecond { // counters move only while something is said
				s.live(now, publish)
				said = now
			}
			found = askScraper(api, q.text)
			return strings.HasPrefix(found, "found")
		})
	}
	checkAhead(t, api)
	proctest.Eventually(t, "all is forwarded", func() bool {
		return strings.Contains(metricsOf(t, s.page), "\nbinwatch_influx_waiting_readings 0\n")
	})
	s.checkFlux()
	s.checkTemplate()
	s.checkInfluxQL(s.db)
	s.checkNeighbour()
	s.checkInfluxQL(s.resent())
}

// checkAhead asks as a picture of the next day or week does, for a range that begins now:
// its curves go on beyond now. Where they go is worked out at two sites (deploy).
func checkAhead(t *testing.T, api string) {
	t.Helper()
	asked := 0
	for _, q := range drawnQueries(t, "grafana-prometheus", "expr") {
		if !strings.Contains(q.title, "the next") {
			continue
		}
		asked++
		proctest.Eventually(t, q.title+" goes beyond now: "+q.text, func() bool {
			now := time.Now()
			found, err := query(strings.Replace(api, "query?", fmt.Sprintf("query_range?start=%d&end=%d&step=600&", now.Unix(), now.Add(7*24*time.Hour).Unix()), 1), q.text)
			return err == nil && len(found) > 2
		})
	}
	if asked < 6 {
		t.Errorf("only %d curves were asked for", asked)
	}
}

// drawnQueries are what a dashboard asks, as its program asks it of the bed.
func drawnQueries(t *testing.T, kind, key string) (all []shippedQuery) {
	t.Helper()
	out, code := runChild(t, "dashboard", kind)
	var board any
	if err := json.Unmarshal([]byte(out), &board); code != 0 || err != nil {
		t.Fatalf("dashboard %s: exit %d, %v: %.300s", kind, code, err, out)
	}
	choice := strings.NewReplacer("$site", ".*", "$farm", "Hillfoot Nursery", "$bin", "bed", "$zone", "near", "$timeFilter", "time > now() - 3d", "$__interval", "1h")
	var within func(title string, v any)
	within = func(title string, v any) {
		switch v := v.(type) {
		case []any:
			for _, e := range v {
				within(title, e)
			}
		case map[string]any:
			if own, ok := v["title"].(string); ok {
				title = own
			}
			if text, ok := v[key].(string); ok && (key == "expr" || strings.HasPrefix(text, "SELECT") || strings.HasPrefix(text, "SHOW")) {
				all = append(all, shippedQuery{kind + ", " + title, choice.Replace(text)})
			}
			for _, name := range slices.Sorted(maps.Keys(v)) {
				within(title, v[name])
			}
		}
	}
	within("", board)
	if len(all) < 20 {
		t.Fatalf("dashboard %s asks %d things only", kind, len(all))
	}
	return all
}

// resent sends all of it again to the InfluxDB that Debian has.
func (s *site) resent() *influxtest.Influxd {
	s.t.Helper()
	db := influxtest.StartInfluxd(s.t, influxtest.Options{})
	db.Do("CREATE DATABASE bins")
	text, err := os.ReadFile(s.cfg)
	if err != nil {
		s.t.Fatal(err)
	}
	old := fmt.Sprintf("{url: %q, flavour: v2, org: hillfoot, bucket: bins, token: {env: DASH_TOKEN}}", s.db.URL)
	cfg := write(s.t, s.t.TempDir(), "debian.yaml", strings.Replace(string(text), old, fmt.Sprintf("{url: %q, flavour: v1, database: bins}", db.URL), 1))
	if out, code := runChild(s.t, "resend", "--from", "2020-01-01", "--config", cfg); code != 0 {
		s.t.Fatalf("resend: exit %d: %s", code, out)
	}
	return db
}

// checkNeighbour has another farm, with the same names for everything and other
// numbers, write into the same database: what the queries find of this one stays.
func (s *site) checkNeighbour() {
	s.t.Helper()
	files, _ := filepath.Glob("../../deploy/influx/*.flux")
	ask := func() map[string][]string {
		found := map[string][]string{}
		for _, f := range files {
			text, err := os.ReadFile(f)
			if err != nil {
				s.t.Fatal(err)
			}
			for _, row := range s.db.Flux(string(text)) {
				if row["farm"] == "Hillfoot Nursery" {
					found[f] = append(found[f], row["bin"]+" "+row["zone"]+" "+row["probe"]+" "+row["why"]+" "+rounded(row["_value"]))
				}
			}
		}
		for _, q := range shippedQueries(s.t, "influx/queries.influxql", "--") {
			for _, row := range s.db.Query("bins", q.text) { // the first table: this farm's name is the first
				line := ""
				for _, v := range row[1:] {
					line += rounded(fmt.Sprint(v)) + " "
				}
				found[q.title] = append(found[q.title], line)
			}
		}
		return found
	}
	before := ask()
	s.neighbour()
	beside := ask()
	s.db.Query("bins", `DROP SERIES WHERE "farm" = 'Longacre'`)
	alone := ask() // windows may have ended since before
	for what, rows := range beside {
		if !slices.Equal(rows, before[what]) && !slices.Equal(rows, alone[what]) {
			s.t.Errorf("%s: with another farm beside it, it finds\n%q\nnot\n%q", what, rows, before[what])
		}
	}
	if len(before) < len(files)+5 {
		s.t.Errorf("only %d queries were asked", len(before))
	}
}

// rounded writes a number so that a window which ends a moment later makes no
// difference; other words stay.
func rounded(s string) string {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return s
	}
	return fmt.Sprintf("%.2g", v)
}

// neighbour writes three days of another farm.
func (s *site) neighbour() {
	s.t.Helper()
	var b strings.Builder
	for at := s.from; at.Before(time.Now()); at = at.Add(30 * time.Minute) {
		ms, hours := at.UnixMilli(), at.Sub(s.from).Hours()
		for _, where := range []string{"bin=bed,zone=near", "bin=crate,zone=all"} {
			fmt.Fprintf(&b, "bin_levels,farm=Longacre,%s,probe=bed-t temperature_c=55,raw=55,doubt=\"a spike\" %d\n", where, ms)
			fmt.Fprintf(&b, "bin_levels,farm=Longacre,%s,probe=bed-m moisture_pct=%f,raw=1 %d\n", where, 20+hours/10, ms)
		}
	}
	fmt.Fprintf(&b, "bin_marks,farm=Longacre,bin=bed,zone=near,condition=too-hot,change=raised,urgency=now text=\"other\",raised=1 %d\n", time.Now().Add(-time.Hour).UnixMilli())
	resp, err := http.Post(s.db.URL+"/write?db=bins&precision=ms", "text/plain", strings.NewReader(b.String()))
	if err != nil {
		s.t.Fatal(err)
	}
	defer resp.Body.Close()
	if said, _ := io.ReadAll(resp.Body); resp.StatusCode != http.StatusNoContent {
		s.t.Fatalf("write: %s: %s", resp.Status, said)
	}
}

func (s *site) checkFlux() {
	s.t.Helper()
	files, err := filepath.Glob("../../deploy/influx/*.flux")
	if err != nil || len(files) == 0 {
		s.t.Fatalf("no Flux files: %v", err)
	}
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			s.t.Fatal(err)
		}
		rows := s.db.Flux(string(text))
		if len(rows) == 0 {
			s.t.Errorf("%s finds nothing", f)
		}
		for _, row := range rows {
			byZone := strings.Contains(string(text), `"zone"`) && !strings.Contains(string(text), `"probe"`)
			if row["_value"] == "" || row["farm"] != "Hillfoot Nursery" || byZone && row["zone"] == "" { // rooms have no middle
				s.t.Errorf("%s: got the row %v", f, row)
			}
		}
	}
}

// checkTemplate runs what the cells of InfluxDB 2's template ask, and what its choices
// are found by.
func (s *site) checkTemplate() {
	s.t.Helper()
	out, code := runChild(s.t, "dashboard", "influx2")
	var resources []struct {
		Kind string
		Spec struct {
			Name, Query string
			Charts      []struct {
				Name    string
				Queries []struct{ Query string }
			}
		}
	}
	if err := json.Unmarshal([]byte(out), &resources); code != 0 || err != nil {
		s.t.Fatalf("dashboard influx2: exit %d, %v", code, err)
	}
	// What the browser puts before each query.
	chosen := `v = {timeRangeStart: -3d, timeRangeStop: now(), windowPeriod: 1h, bins_bucket: "bins", bins_farm: "Hillfoot Nursery", bins_bin: "bed", bins_zone: "near"}` + "\n"
	asked := 0
	ask := func(name, query string) {
		asked++
		if rows := s.db.Flux(chosen + query); len(rows) == 0 {
			s.t.Errorf("%s finds nothing: %s", name, query)
		}
	}
	for _, r := range resources {
		if r.Kind == "Variable" {
			ask(r.Spec.Name, r.Spec.Query)
		}
		for _, c := range r.Spec.Charts {
			for _, q := range c.Queries {
				ask(c.Name, q.Query)
			}
		}
	}
	if asked < 25 {
		s.t.Errorf("only %d things were asked", asked)
	}
}

func (s *site) checkInfluxQL(db *influxtest.Influxd) {
	s.t.Helper()
	for _, q := range append(shippedQueries(s.t, "influx/queries.influxql", "--"), drawnQueries(s.t, "grafana-influx", "query")...) {
		if rows := db.Query("bins", q.text); len(rows) == 0 || len(rows[0]) < 2 || rows[0][1] == nil {
			s.t.Errorf("%s %s: got %v", q.title, q.text, rows)
		}
	}
}

// A shippedQuery is one of a file, with the comment above it.
type shippedQuery struct{ title, text string }

// shippedQueries reads a file of queries parted by empty lines.
func shippedQueries(t *testing.T, name, comment string) []shippedQuery {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("../../deploy", name))
	if err != nil {
		t.Fatal(err)
	}
	var all []shippedQuery
	for block := range strings.SplitSeq(string(text), "\n\n") {
		var q shippedQuery
		for line := range strings.Lines(block) {
			if rest, ok := strings.CutPrefix(line, comment); ok {
				q.title += strings.TrimRight(rest, "\n")
			} else {
				q.text += line
			}
		}
		if q.text = strings.TrimSpace(q.text); q.text != "" {
			all = append(all, q)
		}
	}
	if len(all) < 5 {
		t.Fatalf("%s holds %d queries", name, len(all))
	}
	return all
}

// startScraper runs a Prometheus by the shipped files, five times a second.
func startScraper(t *testing.T, page string) (api string) {
	t.Helper()
	shipped, err := filepath.Abs("../../deploy/prometheus")
	if err != nil {
		t.Fatal(err)
	}
	scrape, err := os.ReadFile(filepath.Join(shipped, "scrape.yml"))
	if err != nil {
		t.Fatal(err)
	}
	job := strings.NewReplacer("127.0.0.1:8338", page, "scrape_interval: 1m", "scrape_interval: 1s\n    scrape_timeout: 1s").Replace(string(scrape))
	conf := write(t, t.TempDir(), "prometheus.yml", fmt.Sprintf("global: {evaluation_interval: 200ms}\nrule_files: [%q]\n%s", filepath.Join(shipped, "binwatchd.rules.yml"), job))
	api = startPrometheus(t, conf)
	proctest.Eventually(t, "prometheus scrapes the daemon", func() bool {
		return strings.HasPrefix(askScraper(api, fmt.Sprintf("up{instance=%q,site=\"hillfoot\"} == 1", page)), "found") // nobody else scrapes this address
	})
	return api
}

// askScraper tells how many numbers a query found, or what hindered it.
func askScraper(api, text string) string {
	found, err := query(api, text)
	if err != nil {
		return err.Error()
	}
	n := 0
	for _, v := range found {
		if v != "NaN" && !strings.Contains(v, "Inf") {
			n++
		}
	}
	if n == 0 {
		return "nothing"
	}
	return fmt.Sprintf("found %d", n)
}

func metricsOf(t *testing.T, page string) string {
	t.Helper()
	return fetched(t, "http://"+page+"/metrics")
}
