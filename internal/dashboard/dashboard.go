// Package dashboard describes what a keeper wants to see of a farm on the screens of
// other programs, and prints it in their formats.
//
// There is one description, [board]: parts of pictures, and for each picture what to
// ask of a Prometheus and of an InfluxDB. A printer makes a file to import of it:
// grafana.go, influx2.go. What is asked stands once, in queries.go, influxql.go and flux.go;
// the files in deploy/ are printed from there too, which the tests hold.
//
// It knows the names of metrics and of points, and nothing of how they are made. Only
// cmd calls it.
package dashboard

import (
	"fmt"
	"io"
	"strings"
)

// A form is how a picture shows what it finds.
type form int

const (
	curves  form = iota // over time
	figures             // the newest number of each series, large
	spans               // over time, a line of colour a series
	rows                // a table of what is there now
)

// A part is some pictures under a heading.
type part struct {
	title    string
	of       scope
	pictures []picture
}

// A scope is what the queries of a part look at.
type scope int

const (
	everywhere scope = iota // as in the files of queries
	site                    // the chosen sites
	zone                    // the chosen bins and zones of these
)

// A picture is one thing to look at.
type picture struct {
	title, says string
	form        form
	unit        unit
	width       int // in 24ths of the screen
	lines       []line
	words       map[string]string // what numbers mean: "1": "well"
	colours     []step            // by value, from the lowest up; none: a colour a series
	none        string            // said where nothing is found
	next        string            // it shows the time from now on, so far: "1d"; "" is the viewer's span
}

// A line is one query of a picture. The label {bin} in its name is that of a series.
type line struct {
	name  string
	query string // key of the query of a Prometheus; "": it has nothing of this
	lines string // key of the query of an InfluxDB; "": it has nothing of this
	edge  bool   // of a band: drawn thin
}

// A unit is how a number is to be read.
type unit string

const (
	plain   unit = ""
	celsius unit = "°C"
	percent unit = "%"
	part1   unit = "a part of one"
	litres  unit = "L"
	seconds unit = "s"
	hours   unit = "h"
	days    unit = "d"
	megas   unit = "MB"
	volts   unit = "V"
	kilos   unit = "kg"
)

// A step is a colour from a value on.
type step struct {
	from   float64
	colour string
}

// Kinds are what can be printed, in the order in which they are named to people.
var Kinds = []string{"grafana-prometheus", "grafana-influx", "influx2"}

// Importing says how.
const Importing = `grafana-prometheus: a Grafana that asks a Prometheus, which scrapes the daemon
as deploy/prometheus/scrape.yml shows. Dashboards, New, Import, upload the file;
then choose the source, the site and the bin above the pictures:

  binwatchd dashboard grafana-prometheus > bins.json

Its queries need no recording rules.

grafana-influx: a Grafana that asks, in InfluxQL, the InfluxDB which influx: in the
configuration names. InfluxDB 2 answers InfluxQL once the bucket is mapped to a
database of its name (its command: influx v1 dbrp create). A database has no news of
the daemon itself, and its limits and forecasts begin with the points of this
version; binwatchd resend writes older ones anew.

influx2: a template for InfluxDB 2's own dashboards, in Flux. Apply it, then choose
the bucket, farm, bin and zone above the cells:

  binwatchd dashboard influx2 > bins.json
  influx apply --org hillfoot --file bins.json

Import any of them again after an upgrade; what you change, change in a copy.
`

// Print writes the dashboard of a kind.
func Print(w io.Writer, kind string) error {
	switch kind {
	case "grafana-prometheus":
		return printGrafana(w, askPrometheus)
	case "grafana-influx":
		return printGrafana(w, askInflux)
	case "influx2":
		return printInflux2(w)
	}
	return fmt.Errorf("there is no dashboard %q: there are %s", kind, strings.Join(Kinds, ", "))
}
