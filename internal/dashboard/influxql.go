package dashboard

import "regexp"

// questions are what to ask of an InfluxDB, in the order of deploy/influx/queries.influxql.
// {30d} stands for the choice of farms, bins and zones and for the viewer's span, which
// is 30 days in the file; {last 1h} for the same choice and always the last hour; {ever}
// for the choice and all that there is.
//
// Probes that hang in no bin are kept out of what is grouped by bins, and are asked for
// one by one: the airs of two rooms have no middle.
var questions = []query{
	{"temperature", "Temperature of every zone over a month, an hour a point.",
		`SELECT MEDIAN("temperature_c") AS "temperature" FROM "bin_levels" WHERE {30d} AND "bin" != '' GROUP BY time(1h), "farm", "bin", "zone" FILL(none)`},
	{"moisture", "Moisture of every zone over a month, six hours a point.",
		`SELECT MEDIAN("moisture_pct") AS "moisture" FROM "bin_levels" WHERE {30d} AND "bin" != '' GROUP BY time(6h), "farm", "bin", "zone" FILL(none)`},
	{"rooms", "Temperature of every room's air over a month, probe by probe.",
		`SELECT MEDIAN("temperature_c") AS "air" FROM "bin_levels" WHERE {30d} AND "bin" = '' GROUP BY time(1h), "farm", "place", "probe" FILL(none)`},
	{"coldest", "At the coldest probe of every zone.",
		`SELECT MIN("temperature_c") AS "coldest" FROM "bin_levels" WHERE {30d} AND "bin" != '' GROUP BY time(1h), "farm", "bin", "zone" FILL(none)`},
	{"hottest", "At the hottest.",
		`SELECT MAX("temperature_c") AS "hottest" FROM "bin_levels" WHERE {30d} AND "bin" != '' GROUP BY time(1h), "farm", "bin", "zone" FILL(none)`},
	{"limit-t", "What the temperature of every zone was held to.",
		`SELECT LAST("temperature_c_thrive_low") AS "thrive low", LAST("temperature_c_thrive_high") AS "thrive high", LAST("temperature_c_survive_low") AS "survive low", LAST("temperature_c_survive_high") AS "survive high" FROM "bin_levels" WHERE {30d} AND "bin" != '' GROUP BY time(1h), "farm", "bin", "zone" FILL(none)`},
	{"driest", "At the driest probe of every zone.",
		`SELECT MIN("moisture_pct") AS "driest" FROM "bin_levels" WHERE {30d} AND "bin" != '' GROUP BY time(6h), "farm", "bin", "zone" FILL(none)`},
	{"wettest", "At the wettest.",
		`SELECT MAX("moisture_pct") AS "wettest" FROM "bin_levels" WHERE {30d} AND "bin" != '' GROUP BY time(6h), "farm", "bin", "zone" FILL(none)`},
	{"limit-m", "What the moisture of every zone was held to.",
		`SELECT LAST("moisture_pct_thrive_low") AS "thrive low", LAST("moisture_pct_thrive_high") AS "thrive high", LAST("moisture_pct_survive_low") AS "survive low", LAST("moisture_pct_survive_high") AS "survive high" FROM "bin_levels" WHERE {30d} AND "bin" != '' GROUP BY time(6h), "farm", "bin", "zone" FILL(none)`},
	{"newest", "The newest believed reading of every probe.",
		`SELECT LAST("temperature_c") AS "temperature_c", LAST("moisture_pct") AS "moisture_pct" FROM "bin_levels" WHERE {30d} GROUP BY "farm", "bin", "zone", "probe"`},
	{"perday", "Points of moisture a day for every zone, over a week: below nothing it dries.",
		`SELECT MEAN("slope") AS "a day" FROM (SELECT DERIVATIVE(MEDIAN("moisture_pct"), 1d) AS "slope" FROM "bin_levels" WHERE {7d} AND "bin" != '' GROUP BY time(6h), "farm", "bin", "zone" FILL(none)) WHERE {7d} GROUP BY "farm", "bin", "zone"`},
	{"marks", "What was raised, worsened and eased over a month.",
		`SELECT "text", "urgency", "raised", "bin", "zone", "condition", "change" FROM "bin_marks" WHERE {30d} AND "condition" != '' GROUP BY "farm"`},
	{"standing", "How urgent each condition was over a month: 3 now, 2 today, 1 soon, 0 eased.",
		`SELECT "standing" FROM "bin_marks" WHERE {30d} AND "condition" != '' GROUP BY "farm", "bin", "zone", "probe", "condition", "quantity"`},
	{"stands", "What stands: the last word on each condition, where that is not that it eased.",
		`SELECT "text", "urgency" FROM (SELECT LAST("raised") AS "up", "text", "urgency" FROM "bin_marks" WHERE {ever} AND "condition" != '' GROUP BY "farm", "bin", "zone", "probe", "condition", "quantity") WHERE "up" = 1 GROUP BY "farm", "bin", "zone", "probe", "condition", "quantity"`},
	{"count", "How many conditions stand.",
		`SELECT COUNT("up") AS "raised" FROM (SELECT LAST("raised") AS "up" FROM "bin_marks" WHERE {ever} AND "condition" != '' GROUP BY "farm", "bin", "zone", "probe", "condition", "quantity") WHERE "up" = 1 GROUP BY "farm"`},
	{"ahead", "What is foreseen: the hours to go when it was told last.",
		`SELECT "hours", "text" FROM (SELECT LAST("raised") AS "up", "crosses_h" AS "hours", "text" FROM "bin_marks" WHERE {ever} AND "condition" != '' GROUP BY "farm", "bin", "zone", "condition", "quantity") WHERE "up" = 1 AND "hours" > 0 GROUP BY "farm", "bin", "zone", "condition", "quantity"`},
	{"lasted", "How long what eased had lasted, in hours: the middle, by condition and urgency.",
		`SELECT MEDIAN("lasted_h") AS "hours" FROM "bin_marks" WHERE {30d} AND "change" = 'eased' GROUP BY "farm", "condition", "urgency"`},
	{"jots", "The logbook of a month.",
		`SELECT "text", "kg", "litres" FROM "bin_marks" WHERE {30d} AND "jots" = 1 GROUP BY "farm", "bin", "zone", "jot"`},
	{"food", "Food given by the day, in kg.",
		`SELECT SUM("kg") AS "food" FROM "bin_marks" WHERE {30d} AND "jot" = 'fed' GROUP BY time(1d), "farm", "bin" FILL(none)`},
	{"water", "Water given by the day, in litres.",
		`SELECT SUM("litres") AS "water" FROM "bin_marks" WHERE {30d} AND "jot" = 'watered' GROUP BY time(1d), "farm", "bin" FILL(none)`},
	{"hot", "Hours over 30 °C by zone, over a month.",
		`SELECT COUNT("mean") AS "hours" FROM (SELECT MEAN("temperature_c") FROM "bin_levels" WHERE {30d} AND "bin" != '' GROUP BY time(1h), "farm", "bin", "zone" FILL(none)) WHERE {30d} AND "mean" > 30 GROUP BY "farm", "bin", "zone"`},
	{"doubted", "How often each probe was not believed, over a month.",
		`SELECT COUNT("doubt") FROM "bin_levels" WHERE {30d} GROUP BY "farm", "probe"`},
	{"readings", "Readings of every probe, by the hour.",
		`SELECT COUNT("raw") AS "readings" FROM "bin_levels" WHERE {30d} GROUP BY time(1h), "farm", "probe" FILL(none)`},
	{"arriving", "Readings of the last hour, by farm: none is a daemon, a broker or a database that is away.",
		`SELECT COUNT("raw") AS "readings" FROM "bin_levels" WHERE {last 1h} GROUP BY "farm"`},
	{"battery", "Batteries, in volts.",
		`SELECT MEAN("battery_v") AS "battery" FROM "bin_levels" WHERE {30d} GROUP BY time(1h), "farm", "probe" FILL(none)`},
}

var span = regexp.MustCompile(`\{(last )?(\w+)\}`)

// asked is the text of a question over a scope.
func asked(text string, s scope) string {
	where := map[scope]string{site: ` AND "farm" =~ /^$farm$/`, zone: ` AND "farm" =~ /^$farm$/ AND "bin" =~ /^$bin$/ AND "zone" =~ /^$zone$/`}[s]
	return span.ReplaceAllStringFunc(text, func(found string) string {
		switch m := span.FindStringSubmatch(found); {
		case m[2] == "ever":
			return "time > 0" + where
		case s != everywhere && m[1] == "":
			return "$timeFilter" + where
		default:
			return "time > now() - " + m[2] + where
		}
	})
}
