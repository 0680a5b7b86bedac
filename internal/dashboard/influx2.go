package dashboard

import (
	"encoding/json"
	"fmt"
	"io"
)

// choiceOf is the name of a variable: an organisation has one list of them for all
// that is in it.
func choiceOf(what string) string { return "bins_" + what }

// printInflux2 writes the description as a template of InfluxDB 2: a dashboard, and the
// variables that its cells ask by.
func printInflux2(w io.Writer) error {
	t := template{}
	t.choice("bucket", `buckets() |> filter(fn: (r) => r.name !~ /^_/) |> rename(columns: {name: "_value"}) |> keep(columns: ["_value"])`)
	for _, tag := range []string{"farm", "bin", "zone"} {
		t.choice(tag, `from(bucket: v.`+choiceOf("bucket")+`) |> range(start: -30d) |> filter(fn: (r) => r._measurement == "bin_levels" and r._field == "raw" and exists r.`+tag+`) `+
			`|> group() |> distinct(column: "`+tag+`") |> keep(columns: ["_value"])`)
	}
	for _, p := range board {
		t.part(p)
	}
	t.resource("Dashboard", "worm-bins", object{"name": title, "description": "Printed by binwatchd. Change a copy: the next version is applied over this one.", "charts": t.charts})
	out := json.NewEncoder(w)
	out.SetEscapeHTML(false)
	out.SetIndent("", " ")
	if err := out.Encode(t.resources); err != nil {
		return fmt.Errorf("print the template: %w", err)
	}
	return nil
}

// A template is what is applied to an InfluxDB 2.
type template struct {
	resources []object
	charts    []object
	x, y      int
}

func (t *template) resource(kind, name string, spec object) {
	t.resources = append(t.resources, object{"apiVersion": "influxdata.com/v2alpha1", "kind": kind, "metadata": object{"name": name}, "spec": spec})
}

func (t *template) choice(what, query string) {
	t.resource("Variable", "bins-"+what, object{"name": choiceOf(what), "type": "query", "language": "flux", "query": query})
}

// The screen of InfluxDB 2 has 12 columns.
const (
	columns = whole / 2
	rowHigh = 4
)

// part lays the pictures of a part out, those of which the database knows something.
func (t *template) part(p part) {
	for _, pic := range p.pictures {
		var queries []object
		for _, l := range pic.lines {
			if l.lines != "" {
				queries = append(queries, object{"query": flux(l.lines, p.of)})
			}
		}
		if queries == nil {
			continue
		}
		if t.x+pic.width/2 > columns {
			t.x, t.y = 0, t.y+rowHigh
		}
		chart := object{
			"name": p.heading(pic), "note": pic.says, "xPos": t.x, "yPos": t.y, "width": pic.width / 2, "height": rowHigh, "queries": queries,
			"colors": []object{{"id": "base", "name": calm, "type": "text", "hex": "#3a7d44", "value": 0}},
		}
		t.x += pic.width / 2
		switch pic.form {
		case curves, spans:
			chart["kind"], chart["geom"], chart["position"] = "Xy", map[form]string{curves: "line", spans: "step"}[pic.form], "overlaid"
			chart["xCol"], chart["yCol"], chart["shade"] = "_time", "_value", false
			chart["colors"] = []object{{"id": "base", "name": "line", "type": "scale", "hex": "#3a7d44", "value": 0}}
			chart["axes"] = []object{{"name": "x", "base": "10", "scale": "linear"}, {"name": "y", "suffix": " " + string(pic.unit), "base": "10", "scale": "linear"}}
		default:
			chart["kind"], chart["decimalPlaces"], chart["timeFormat"] = "Table", 1, "YYYY-MM-DD HH:mm"
			chart["tableOptions"] = object{"verticalTimeAxis": true, "sortBy": "_time", "wrapping": "truncate", "fixFirstColumn": false}
		}
		t.charts = append(t.charts, chart)
	}
	t.x, t.y = 0, t.y+rowHigh
}

// heading is the title of a picture; one of a zone says so, for a template knows no
// headings between its cells.
func (p part) heading(pic picture) string {
	if p.of == zone {
		return pic.title + ", one zone"
	}
	return pic.title
}
