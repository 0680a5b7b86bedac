package dashboard

import (
	"encoding/json"
	"fmt"
	"io"
	"regexp"
)

// An object is one of JSON; its keys are written in alphabetical order.
type object = map[string]any

// from is the data source that the viewer has chosen.
var from = object{"type": "prometheus", "uid": "${source}"}

// printGrafana writes the description as Grafana's JSON model has it, for a Prometheus.
func printGrafana(w io.Writer) error {
	g := grafana{}
	for _, p := range board {
		g.part(p)
	}
	out := json.NewEncoder(w)
	out.SetEscapeHTML(false)
	out.SetIndent("", " ")
	err := out.Encode(object{
		"uid": "binwatchd-prometheus", "title": title, "tags": []string{"binwatchd"},
		"description":   "Printed by binwatchd. Change a copy: the next version is imported over this one.",
		"schemaVersion": 39, "editable": true, "refresh": "1m", "graphTooltip": 1,
		"time":        object{"from": "now-7d", "to": "now"},
		"templating":  object{"list": choices()},
		"annotations": object{"list": []object{marks()}},
		"panels":      g.out,
	})
	if err != nil {
		return fmt.Errorf("print the dashboard: %w", err)
	}
	return nil
}

// choices are what a viewer may choose: whose numbers, which site, bin and zone.
func choices() []object {
	all := object{"text": "All", "value": "$__all"}
	of := func(name, label, query string, several bool) object {
		v := object{
			"type": "query", "name": name, "label": label, "datasource": from, "refresh": 2, "sort": 1, "multi": several, "includeAll": several,
			"query": object{"query": query, "refId": name},
		}
		if several {
			v["allValue"], v["current"] = ".*", all
		}
		return v
	}
	return []object{
		{"type": "datasource", "name": "source", "label": "From", "query": "prometheus"},
		of("site", "Site", `label_values(binwatch_build_info, site)`, true),
		of("bin", "Bin", `label_values(binwatch_zone_judged{site=~"$site"}, bin)`, false),
		of("zone", "Zone", `label_values(binwatch_zone_judged{site=~"$site", bin=~"$bin"}, zone)`, true),
	}
}

// marks are spans of time across all curves, while something that can't wait stood.
func marks() object {
	return object{
		"name": "Raised: now and today", "enable": true, "iconColor": today, "datasource": from,
		"target":      object{"refId": "marks", "expr": markQuery, "interval": "1m"},
		"titleFormat": "{{condition}}, {{urgency}}", "textFormat": "{{bin}} {{zone}} {{probe}}", "tagKeys": "bin,zone,probe",
	}
}

// markQuery finds what the marks are of.
const markQuery = `binwatch_condition{site=~"$site", urgency=~"now|today"}`

// A grafana lays pictures out, from left to right and then below.
type grafana struct {
	out      []object
	x, y, id int
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
	if g.x > 0 {
		g.x, g.y = 0, g.y+high
	}
	g.out = append(g.out, object{"gridPos": g.place(whole, 1), "id": g.id, "type": "row", "title": p.title, "collapsed": false, "panels": []object{}})
	g.x, g.y = 0, g.y+1
	for _, pic := range p.pictures {
		g.out = append(g.out, g.picture(pic, p.of))
	}
}

func (g *grafana) picture(p picture, s scope) object {
	o := object{
		"gridPos": g.place(p.width, high), "id": g.id, "title": p.title, "description": p.says, "datasource": from,
		"targets": targets(p, s), "fieldConfig": object{"defaults": fields(p), "overrides": edges(p)},
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
			"excludeByName": object{"Time": true, "__name__": true, "instance": true, "job": true, "Value": p.unit == plain},
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
func targets(p picture, s scope) []object {
	var out []object
	for i, l := range p.lines {
		t := object{
			"refId": string(rune('A' + i)), "datasource": from, "expr": expanded(l.query, s), "editorMode": "code",
			"legendFormat": label.ReplaceAllString(l.name, "{{$1}}"),
		}
		switch p.form {
		case rows:
			t["instant"], t["range"], t["format"] = true, false, "table"
		case figures:
			t["instant"], t["range"] = true, false
		default:
			t["instant"], t["range"] = false, true
		}
		out = append(out, t)
	}
	return out
}

// grafanaUnits are its names of units.
var grafanaUnits = map[unit]string{
	plain: "short", celsius: "celsius", percent: "percent", part1: "percentunit", litres: "litre",
	seconds: "s", hours: "h", days: "d", megas: "decmbytes",
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
