package dashboard

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"regexp"
	"slices"
	"strings"
)

// An object is one of JSON; its keys are written in alphabetical order.
type object = map[string]any

// A source is a kind of database, and how it is asked.
type source struct {
	kind    string // as Grafana names it
	choices []choice
	has     func(l line) bool // something of a line
	query   func(l line, s scope, table, newest bool) object
	marks   object // spans or moments across all curves
}

// A choice is a variable that a viewer sets; one with several has all of them too.
type choice struct {
	name, label, query string
	several            bool
}

// askPrometheus asks in PromQL.
var askPrometheus = source{
	kind: "prometheus",
	choices: []choice{
		{"site", "Site", `label_values(binwatch_build_info, site)`, true},
		{"bin", "Bin", `label_values(binwatch_zone_judged{site=~"$site"}, bin)`, false},
		{"zone", "Zone", `label_values(binwatch_zone_judged{site=~"$site", bin=~"$bin"}, zone)`, true},
	},
	has: func(l line) bool { return l.query != "" },
	query: func(l line, s scope, table, newest bool) object {
		q := object{
			"expr": expanded(l.query, s), "editorMode": "code", "legendFormat": label.ReplaceAllString(l.name, "{{$1}}"),
			"instant": table || newest, "range": !table && !newest,
		}
		if table {
			q["format"] = "table"
		}
		return q
	},
	marks: object{
		"target":      object{"refId": "marks", "expr": `binwatch_condition{site=~"$site", urgency=~"now|today"}`, "interval": "1m"},
		"titleFormat": "{{condition}}, {{urgency}}", "textFormat": "{{bin}} {{zone}} {{probe}}", "tagKeys": "bin,zone,probe",
	},
}

// askInflux asks in InfluxQL, which InfluxDB 1 and 2 both answer.
var askInflux = source{
	kind: "influxdb",
	choices: []choice{
		{"farm", "Farm", `SHOW TAG VALUES FROM "bin_levels" WITH KEY = "farm"`, true},
		{"bin", "Bin", `SHOW TAG VALUES FROM "bin_levels" WITH KEY = "bin" WHERE "farm" =~ /^$farm$/`, false},
		{"zone", "Zone", `SHOW TAG VALUES FROM "bin_levels" WITH KEY = "zone" WHERE "farm" =~ /^$farm$/ AND "bin" =~ /^$bin$/`, true},
	},
	has: func(l line) bool { return l.lines != "" },
	query: func(l line, s scope, table, _ bool) object {
		format := "time_series"
		if table {
			format = "table"
		}
		alias := strings.NewReplacer("{band} {side}", "$col").Replace(l.name)
		return object{
			"query": asked(find(questions, l.lines).text, s), "rawQuery": true, "resultFormat": format,
			"alias": label.ReplaceAllString(alias, "$$tag_$1"),
		}
	},
	marks: object{
		"target": object{"refId": "marks", "query": influxMarks, "rawQuery": true, "resultFormat": "table", "fromAnnotations": true},
		"query":  influxMarks, "textColumn": "text", "tagsColumn": "bin,zone,condition,change",
	},
}

var influxMarks = asked(find(questions, "marks").text, site)

// printGrafana writes the description as Grafana's JSON model has it, for a source.
func printGrafana(w io.Writer, s source) error {
	g := grafana{source: s, from: object{"type": s.kind, "uid": "${source}"}}
	for _, p := range board {
		g.part(p)
	}
	out := json.NewEncoder(w)
	out.SetEscapeHTML(false)
	out.SetIndent("", " ")
	err := out.Encode(object{
		"uid": "binwatchd-" + s.kind, "title": title, "tags": []string{"binwatchd"},
		"description":   "Printed by binwatchd. Change a copy: the next version is imported over this one.",
		"schemaVersion": 39, "editable": true, "refresh": "1m", "graphTooltip": 1,
		"time":        object{"from": "now-7d", "to": "now"},
		"templating":  object{"list": g.choices()},
		"annotations": object{"list": []object{g.marks()}},
		"panels":      g.out,
	})
	if err != nil {
		return fmt.Errorf("print the dashboard: %w", err)
	}
	return nil
}

// A grafana lays pictures out, from left to right and then below.
type grafana struct {
	source   source
	from     object // the data source that the viewer has chosen
	out      []object
	x, y, id int
}

// choices are what a viewer may choose: whose numbers, which site, bin and zone.
func (g *grafana) choices() []object {
	out := []object{{"type": "datasource", "name": "source", "label": "From", "query": g.source.kind}}
	for _, c := range g.source.choices {
		v := object{
			"type": "query", "name": c.name, "label": c.label, "datasource": g.from, "refresh": 2, "sort": 1,
			"multi": c.several, "includeAll": c.several, "query": object{"query": c.query, "refId": c.name},
		}
		if c.several {
			v["allValue"], v["current"] = ".*", object{"text": "All", "value": "$__all"}
		}
		out = append(out, v)
	}
	return out
}

// marks show across all curves when something was raised.
func (g *grafana) marks() object {
	o := object{"name": "Raised", "enable": true, "iconColor": today, "datasource": g.from}
	maps.Copy(o, g.source.marks)
	return o
}

const (
	whole = 24 // width of the screen
	high  = 8  // height of a picture
)

// place gives the next place on the screen, and a number.
func (g *grafana) place(width, height int) object {
	if g.x+width > whole {
		g.x, g.y = 0, g.y+high
	}
	g.id++
	at := object{"x": g.x, "y": g.y, "w": width, "h": height}
	g.x += width
	return at
}

func (g *grafana) part(p part) {
	if !slices.ContainsFunc(p.pictures, func(pic picture) bool { return slices.ContainsFunc(pic.lines, g.source.has) }) {
		return
	}
	if g.x > 0 {
		g.x, g.y = 0, g.y+high
	}
	g.out = append(g.out, object{"gridPos": g.place(whole, 1), "id": g.id, "type": "row", "title": p.title, "collapsed": false, "panels": []object{}})
	g.x, g.y = 0, g.y+1
	for _, pic := range p.pictures {
		if slices.ContainsFunc(pic.lines, g.source.has) {
			g.out = append(g.out, g.picture(pic, p.of))
		}
	}
}

func (g *grafana) picture(p picture, s scope) object {
	o := object{
		"gridPos": g.place(p.width, high), "id": g.id, "title": p.title, "description": p.says, "datasource": g.from,
		"targets": g.targets(p, s), "fieldConfig": object{"defaults": fields(p), "overrides": edges(p)},
	}
	if p.next != "" {
		o["timeFrom"] = "+" + p.next
	}
	tooltip := object{"mode": "multi", "sort": "desc"}
	legend := object{"showLegend": true, "displayMode": "list", "placement": "bottom", "calcs": []string{}}
	switch p.form {
	case figures:
		o["type"] = "stat"
		o["options"] = object{
			"reduceOptions": object{"calcs": []string{"lastNotNull"}, "fields": "", "values": false}, "orientation": "auto",
			"colorMode": "value", "graphMode": "none", "justifyMode": "auto", "textMode": "value_and_name",
			"wideLayout": true, "showPercentChange": false, "percentChangeColorMode": "standard",
		}
	case spans:
		o["type"] = "state-timeline"
		o["options"] = object{"mergeValues": true, "showValue": "never", "alignValue": "left", "rowHeight": 0.9, "legend": legend, "tooltip": tooltip}
	case rows:
		o["type"] = "table"
		o["options"] = object{"showHeader": true, "frameIndex": 0, "cellHeight": "sm"}
		o["transformations"] = []object{{"id": "organize", "options": object{
			"excludeByName": object{"Time": g.source.kind == "prometheus", "__name__": true, "instance": true, "job": true, "Value": p.unit == plain},
			"renameByName":  object{"Value": string(p.unit)},
		}}}
	default:
		o["type"] = "timeseries"
		o["options"] = object{"legend": legend, "tooltip": tooltip}
	}
	return o
}

var label = regexp.MustCompile(`\{(\w+)\}`)

// targets are the queries of a picture.
func (g *grafana) targets(p picture, s scope) []object {
	var out []object
	for _, l := range p.lines {
		if g.source.has(l) {
			q := g.source.query(l, s, p.form == rows, p.form == figures)
			q["refId"], q["datasource"] = string(rune('A'+len(out))), g.from
			out = append(out, q)
		}
	}
	return out
}

// grafanaUnits are its names of units.
var grafanaUnits = map[unit]string{
	plain: "short", celsius: "celsius", percent: "percent", part1: "percentunit", litres: "litre",
	seconds: "s", volts: "volt", kilos: "kg", hours: "h", days: "d", megas: "decmbytes",
}

// fields are how a picture's numbers are shown.
func fields(p picture) object {
	o := object{"unit": grafanaUnits[p.unit], "noValue": p.none}
	switch p.form {
	case curves:
		o["color"] = object{"mode": "palette-classic"}
		// What was not measured is a gap.
		o["custom"] = object{"lineWidth": 2, "showPoints": "never", "spanNulls": false}
	default:
		o["color"] = object{"mode": "thresholds"}
	}
	steps := []object{{"color": calm, "value": nil}}
	for _, s := range p.colours {
		steps = append(steps, object{"color": s.colour, "value": s.from})
	}
	o["thresholds"] = object{"mode": "absolute", "steps": steps}
	if p.words != nil {
		options := object{}
		for value, word := range p.words {
			options[value] = object{"text": word}
		}
		o["mappings"] = []object{{"type": "value", "options": options}}
	}
	return o
}

// edges draws the ends of bands thin and in the colours of what lies past them.
func edges(p picture) []object {
	out := []object{}
	edged := func(band, colour string) {
		out = append(out, object{
			"matcher": object{"id": "byRegexp", "options": ".*, " + band + " (low|high)"},
			"properties": []object{
				{"id": "color", "value": object{"mode": "fixed", "fixedColor": colour}},
				{"id": "custom.lineWidth", "value": 1},
				{"id": "custom.lineStyle", "value": object{"fill": "dash", "dash": []int{6, 6}}},
			},
		})
	}
	for _, l := range p.lines {
		if l.edge {
			edged("thrive", today)
			edged("survive", now)
		}
	}
	return out
}
