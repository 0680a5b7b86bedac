package dashboard

import (
	"fmt"
	"strings"
)

// QueriesFile is what deploy/prometheus/queries.promql holds.
func QueriesFile() string {
	out := "# Queries to draw or to ask, each under a line that says what it shows.\n# $bin stands for a bin, such as bed.\n"
	for _, q := range queries {
		out += fmt.Sprintf("\n# %s\n%s\n", q.says, chosen(q.text, everywhere))
	}
	return out
}

// QuestionsFile is what deploy/influx/queries.influxql holds.
func QuestionsFile() string {
	out := "-- Queries for InfluxDB 1 and for the InfluxQL of InfluxDB 2, each under a line\n-- that says what it shows.\n"
	for _, q := range questions {
		out += fmt.Sprintf("\n-- %s\n%s;\n", q.says, asked(q.text, everywhere))
	}
	return out
}

// RulesFile is what deploy/prometheus/binwatchd.rules.yml holds.
func RulesFile() string {
	out := `# Series computed beforehand, so that curves over months are cheap. Name this
# file under rule_files: in prometheus.yml. Every one keeps the labels of what it
# is made of, site and instance among them, so that several farms never mix. The
# names say: what, of what, over how long.
groups:
  - name: binwatchd
    rules:
`
	for i, r := range recorded {
		if i > 0 && r.says != "" {
			out += "\n"
		}
		if r.says != "" {
			out += "      # " + strings.ReplaceAll(r.says, "\n", "\n      # ") + "\n"
		}
		text := chosen(r.text, everywhere)
		if strings.Contains(text, "\n") {
			text = ">\n          " + strings.ReplaceAll(text, "\n", "\n          ")
		}
		out += fmt.Sprintf("      - record: %s\n        expr: %s\n", r.name, text)
	}
	return out
}
