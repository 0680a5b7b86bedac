package main

import (
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"gopkg.in/yaml.v3"

	"binwatchd/internal/config"
)

// frame is the rest of a configuration around the part that a page shows.
var frame = []struct{ key, text string }{
	{"farm", "farm: Hillfoot Nursery\n"},
	{"broker", "broker: {url: \"tcp://127.0.0.1:1883\"}\n"},
	{"journal", "journal: {path: journal.db}\n"},
	{"probes", "probes: {t: {topic: t, measures: temperature}}\n"},
	{"bins", "bins: {b: {species: red, zones: {all: {aim: living, probes: [t]}}}}\n"},
	{"mail", "mail: {server: \"127.0.0.1:25\", from: bins@example.org}\n"},
}

// Every configuration that a page shows is right, files of secrets and
// certificates aside.
func TestDocumentedConfigurationsLoad(t *testing.T) {
	loader := config.Loader{Now: time.Now, Zone: func() *time.Location { return time.UTC }}
	for _, page := range pages(t) {
		for _, block := range blocksOf(t, page, "yaml") {
			var shown map[string]any
			if err := yaml.Unmarshal([]byte(block), &shown); err != nil {
				t.Fatalf("%s: %v\n%s", page, err, block)
			}
			text := block
			for _, f := range frame {
				if _, there := shown[f.key]; !there {
					text += f.text
				}
			}
			_, err := loader.Parse("farm.yaml", []byte(text), config.ForRehearsal)
			if problems := (*config.Problems)(nil); errors.As(err, &problems) || err != nil {
				t.Errorf("%s: %v\n%s", page, err, text)
			}
		}
	}
}

var link = regexp.MustCompile(`\]\(([^)#]+)\)`)

// A page that a page leads to is there, and so is every file of deploy/.
func TestDocumentedFilesExist(t *testing.T) {
	shipped := regexp.MustCompile("`(deploy/[^`* ]+)`")
	for _, page := range pages(t) {
		text, err := os.ReadFile(filepath.Join("../../docs", page+".md"))
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range link.FindAllStringSubmatch(string(text), -1) {
			if _, err := os.Stat(filepath.Join("../../docs", m[1])); err != nil {
				t.Errorf("%s: %v", page, err)
			}
		}
		for _, m := range shipped.FindAllStringSubmatch(string(text), -1) {
			if _, err := os.Stat(filepath.Join("../..", m[1])); err != nil {
				t.Errorf("%s: %v", page, err)
			}
		}
	}
}

// The page of metrics names every metric that there is and no other.
func TestEveryMetricIsDocumented(t *testing.T) {
	golden, err := os.ReadFile("../../internal/metrics/testdata/metrics.txt")
	if err != nil {
		t.Fatal(err)
	}
	rules, err := os.ReadFile("../../deploy/prometheus/binwatchd.rules.yml")
	if err != nil {
		t.Fatal(err)
	}
	page, err := os.ReadFile("../../docs/metrics.md")
	if err != nil {
		t.Fatal(err)
	}
	there := append(names(`(?m)^# TYPE (\w+) `, golden), names(`record: (\S+)`, rules)...)
	told := names("(?m)^\\| `(binwatch[a-z0-9_:]+)` \\|", page)
	slices.Sort(there)
	slices.Sort(told)
	if !slices.Equal(there, told) {
		t.Errorf("the page names\n%s\nthere are\n%s", strings.Join(told, "\n"), strings.Join(there, "\n"))
	}
}

func names(pattern string, text []byte) []string {
	var out []string
	for _, m := range regexp.MustCompile(pattern).FindAllSubmatch(text, -1) {
		out = append(out, string(m[1]))
	}
	return out
}

// The queries that the page shows are among those that are shipped, which are
// run.
func TestDocumentedQueriesAreShipped(t *testing.T) {
	var shipped []string
	for _, q := range append(shippedQueries(t, "prometheus/queries.promql", "#"), shippedQueries(t, "influx/queries.influxql", "--")...) {
		shipped = append(shipped, q.text)
	}
	files, err := filepath.Glob("../../deploy/influx/*.flux")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		shipped = append(shipped, strings.TrimSpace(string(text)))
	}
	shown := 0
	for _, language := range []string{"promql", "sql", "flux"} {
		for _, q := range blocksOf(t, "metrics", language) {
			shown++
			if !slices.Contains(shipped, strings.TrimSpace(q)) {
				t.Errorf("not shipped: %s", q)
			}
		}
	}
	if shown < 5 {
		t.Errorf("got %d queries on the page, want some", shown)
	}
}
