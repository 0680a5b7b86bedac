package deploy_test

import (
	"os"
	"regexp"
	"strings"
	"testing"
)

// Two farms with the same names for everything are kept apart by every rule and
// query that is shipped, and a daemon that is dead is not well. Prometheus' own
// tool judges; what it is to find was worked out by hand from the series.
func TestTwoSitesNeverMix(t *testing.T) {
	got := run(t, "promtool", "test", "rules", "testdata/two-sites.yml")
	if !strings.Contains(got, "SUCCESS") {
		t.Errorf("promtool says:\n%s", got)
	}
}

// Every rule and query that is shipped is asked in that test.
func TestEveryQueryIsAskedAtTwoSites(t *testing.T) {
	read := func(name string) string {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	asked := read("testdata/two-sites.yml")
	var all []string
	for _, m := range regexp.MustCompile(`(?m)^\s+- record: (\S+)$`).FindAllStringSubmatch(read("prometheus/binwatchd.rules.yml"), -1) {
		all = append(all, m[1])
	}
	for _, m := range regexp.MustCompile(`(?m)^[^#\n].*$`).FindAllString(read("prometheus/queries.promql"), -1) {
		all = append(all, strings.ReplaceAll(m, "$bin", "bed"))
	}
	if len(all) < 25 {
		t.Fatalf("only %d rules and queries were found: %q", len(all), all)
	}
	for _, q := range all {
		if !strings.Contains(asked, "- expr: '"+q+"'\n") {
			t.Errorf("%s is not asked at two sites", q)
		}
	}
}
