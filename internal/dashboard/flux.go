package dashboard

import (
	"regexp"
	"strings"
)

// fluxes are what to ask of an InfluxDB 2, by the keys of [questions]. {levels f} stands
// for the points that have the field f of the chosen farms, bins and zones in the
// viewer's span, {marks f} for those of conditions and jots, {all marks f} for those of
// all times; f may be several in a pattern. {zones} keeps rooms out and groups by zones.
var fluxes = []query{
	{"temperature", "", `{levels temperature_c} {zones} |> aggregateWindow(every: 1h, fn: median, createEmpty: false)`},
	{"moisture", "", `{levels moisture_pct} {zones} |> aggregateWindow(every: 6h, fn: median, createEmpty: false)`},
	{"rooms", "", `{levels temperature_c} |> filter(fn: (r) => not exists r.bin) |> group(columns: ["farm", "place", "probe"]) |> aggregateWindow(every: 1h, fn: median, createEmpty: false)`},
	{"coldest", "", `{levels temperature_c} {zones} |> aggregateWindow(every: 1h, fn: min, createEmpty: false)`},
	{"hottest", "", `{levels temperature_c} {zones} |> aggregateWindow(every: 1h, fn: max, createEmpty: false)`},
	{"limit-t", "", `{levels temperature_c_(thrive|survive)_(low|high)} |> group(columns: ["farm", "bin", "zone", "_field"]) |> aggregateWindow(every: 1h, fn: last, createEmpty: false)`},
	{"driest", "", `{levels moisture_pct} {zones} |> aggregateWindow(every: 6h, fn: min, createEmpty: false)`},
	{"wettest", "", `{levels moisture_pct} {zones} |> aggregateWindow(every: 6h, fn: max, createEmpty: false)`},
	{"limit-m", "", `{levels moisture_pct_(thrive|survive)_(low|high)} |> group(columns: ["farm", "bin", "zone", "_field"]) |> aggregateWindow(every: 6h, fn: last, createEmpty: false)`},
	{"newest", "", `{levels (temperature_c|moisture_pct|battery_v)} |> group(columns: ["farm", "bin", "zone", "probe", "_field"]) |> last()`},
	{"perday", "", `{levels moisture_pct} {zones} |> aggregateWindow(every: 6h, fn: median, createEmpty: false) |> derivative(unit: 1d) |> mean()`},
	{"standing", "", `{marks standing} |> group(columns: ["farm", "bin", "zone", "probe", "condition", "quantity"]) |> sort(columns: ["_time"])`},
	{"stands", "", `{all marks raised} {episodes} |> filter(fn: (r) => r._value == 1.0)`},
	{"count", "", `{all marks raised} {episodes} |> filter(fn: (r) => r._value == 1.0) |> group(columns: ["farm"]) |> count()`},
	{"ahead", "", `{all marks (standing|crosses_h)} |> group(columns: ["farm", "bin", "zone", "condition", "quantity"]) |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value") |> sort(columns: ["_time"]) |> last(column: "standing") |> filter(fn: (r) => r.standing > 0.0 and exists r.crosses_h) |> map(fn: (r) => ({r with _value: r.crosses_h}))`},
	{"jots", "", `{marks text} |> filter(fn: (r) => exists r.jot) |> group(columns: ["farm", "bin", "zone", "jot"]) |> sort(columns: ["_time"], desc: true)`},
	{"lasted", "", `{marks lasted_h} |> filter(fn: (r) => r.change == "eased") |> group(columns: ["farm", "condition", "urgency"]) |> median()`},
	{"food", "", `{marks kg} |> filter(fn: (r) => r.jot == "fed") |> group(columns: ["farm", "bin"]) |> aggregateWindow(every: 1d, fn: sum, createEmpty: false)`},
	{"water", "", `{marks litres} |> filter(fn: (r) => r.jot == "watered") |> group(columns: ["farm", "bin"]) |> aggregateWindow(every: 1d, fn: sum, createEmpty: false)`},
	{"hot", "", `{levels temperature_c} {zones} |> aggregateWindow(every: 1h, fn: mean, createEmpty: false) |> filter(fn: (r) => r._value > 30.0) |> count()`},
	{"doubted", "", `{levels doubt} |> group(columns: ["farm", "probe"]) |> count()`},
	{"readings", "", `{levels raw} |> group(columns: ["farm", "probe"]) |> aggregateWindow(every: 1h, fn: count, createEmpty: false)`},
	{"arriving", "", `{last levels raw} |> group(columns: ["farm"]) |> count()`},
	{"battery", "", `{levels battery_v} |> group(columns: ["farm", "probe"]) |> aggregateWindow(every: 1h, fn: mean, createEmpty: false)`},
}

var fluxPart = regexp.MustCompile(`\{(all |last )?(levels|marks|zones|episodes)(?: ([^}]+))?\}`)

// flux is the text of a query in Flux over a scope. What is chosen is in variables.
func flux(key string, s scope) string {
	where := map[scope]string{
		site: ` and r.farm == v.` + choiceOf("farm"),
		zone: ` and r.farm == v.` + choiceOf("farm") + ` and r.bin == v.` + choiceOf("bin") + ` and r.zone == v.` + choiceOf("zone"),
	}[s]
	return fluxPart.ReplaceAllStringFunc(find(fluxes, key).text, func(found string) string {
		m := fluxPart.FindStringSubmatch(found)
		switch m[2] {
		case "zones":
			return `|> filter(fn: (r) => exists r.bin) |> group(columns: ["farm", "bin", "zone"])`
		case "episodes":
			return `|> group(columns: ["farm", "bin", "zone", "probe", "condition", "quantity"]) |> sort(columns: ["_time"]) |> last()`
		}
		span := map[string]string{"": "start: v.timeRangeStart, stop: v.timeRangeStop", "all ": "start: 1970-01-01T00:00:00Z", "last ": "start: -1h"}[m[1]]
		field := `r._field == "` + m[3] + `"`
		if strings.Contains(m[3], "(") {
			field = `r._field =~ /^` + m[3] + `$/`
		}
		return `from(bucket: v.` + choiceOf("bucket") + `) |> range(` + span + `) |> filter(fn: (r) => r._measurement == "bin_` + m[2] + `" and ` + field + where + `)`
	})
}
