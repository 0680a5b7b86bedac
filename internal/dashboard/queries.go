package dashboard

import (
	"fmt"
	"regexp"
	"strings"
)

// A query is what to ask of a Prometheus. In its text @ stands for the choice of
// sites, bins and zones, and a name of [recorded] for what that is computed by.
type query struct{ key, says, text string }

// queries are all there are, in the order of deploy/prometheus/queries.promql.
var queries = []query{
	{"temperature", "Temperature of every zone.", `binwatch:temperature_celsius:mean1h`},
	{"moisture", "Moisture of every zone in per cent.", `100 * binwatch:moisture_ratio:mean6h`},
	{"level-t", "Temperature of every zone as it is judged.", `binwatch_temperature_celsius{@}`},
	{"coldest", "At the coldest probe of a zone, where several speak.", `binwatch_temperature_lowest_celsius{@}`},
	{"hottest", "At the hottest.", `binwatch_temperature_highest_celsius{@}`},
	{"limit-t", "What the temperature of every zone is held to.", `binwatch_limit_celsius{@}`},
	{"level-m", "Moisture of every zone as it is judged, in per cent.", `100 * binwatch_moisture_ratio{@}`},
	{"driest", "At the driest probe of a zone, where several speak, in per cent.", `100 * binwatch_moisture_lowest_ratio{@}`},
	{"wettest", "At the wettest.", `100 * binwatch_moisture_highest_ratio{@}`},
	{"limit-m", "What the moisture of every zone is held to, in per cent.", `100 * binwatch_limit_moisture_ratio{@}`},
	{"stands", "What stands now, the most urgent first by eye: now, today, soon.", `binwatch_condition{@} == 1`},
	{"count", "How many things stand, by urgency.", `binwatch:conditions:count`},
	{"perday", "Points of moisture a day, drying below nothing.", `binwatch:moisture_points:perday1d`},
	{"ahead", "Hours until a limit is expected to be crossed.", `binwatch_forecast_seconds{@} / 3600`},
	{"earliest", "Hours until that at the earliest, by the forecast's 80 % interval.", `binwatch_forecast_earliest_seconds{@} / 3600`},
	{"ahead-t", "Temperature of every zone on its way to the limit that it is expected to cross. Ask for a range that begins now.", towards("temperature_celsius", "")},
	{"early-t", "The same where it comes as early as it may, by the forecast's 80 % interval.", towards("temperature_celsius", "earliest_")},
	{"held-t", "What the temperature will be held to.", `binwatch_limit_celsius{@} @ start()`},
	{"ahead-m", "Moisture on its way, in per cent.", `100 * (` + towards("moisture_ratio", "") + `)`},
	{"early-m", "The same as early as it may.", `100 * (` + towards("moisture_ratio", "earliest_") + `)`},
	{"held-m", "What the moisture will be held to, in per cent.", `100 * binwatch_limit_moisture_ratio{@} @ start()`},
	{"drying", "Zones that will leave their band within two days.", `binwatch_forecast_seconds{@, condition="drying"} < 2 * 86400`},
	{"rooms", "Temperature of every room's air, probe by probe.", `binwatch_air_temperature_celsius{@}`},
	{"water", "Litres of water that would bring each zone to the middle of its band.", `binwatch_water_needed_litres{@} > 0`},
	{"food", "Days until the food of a zone is nearly eaten.", `binwatch_forecast_seconds{@, condition="feed-due"} / 86400`},
	{"activity", "How well each species could work yesterday.", `binwatch:species_activity_ratio:mean1d`},
	{"warmest", "The warmest zone of each bin.", `max without (zone) (binwatch_temperature_celsius{@})`},
	{"spread", "The spread within one bin.", `max without (zone) (binwatch_temperature_celsius{bin="$bin"}) - min without (zone) (binwatch_temperature_celsius{bin="$bin"})`},
	{"judged", "Zones that can't be judged by all that their probes measure are 0, the others 1.", `binwatch_zone_judged{@}`},
	{"silence", "Probes by their silence, the longest first.", `sort_desc(binwatch:probe_silence_seconds)`},
	{"believed", "What part of each probe's readings was believed in the last hour.", `binwatch:readings_believed:ratio1h`},
	{"readings", "Readings an hour, by what became of them.", `sum without (probe) (increase(binwatch_readings_total{@}[1h]))`},
	{"delay", "Within how many seconds nine of ten readings that carry a time stamp arrived.", `histogram_quantile(0.9, increase(binwatch_reading_delay_seconds_bucket{@}[1h]))`},
	{"rejected", "Messages an hour that gave no reading of a probe.", `sum without (reason) (increase(binwatch_rejected_messages_total{@}[1h]))`},
	{"messages", "Messages an hour by what became of them: taken, claimed by no probe, malformed.", `increase(binwatch_messages_total{@}[1h])`},
	{"notices", "Notices a day by the way they went.", `increase(binwatch_notices_total{@}[1d])`},
	{"trouble", "Recipients: 1 for those whom the last notice did not reach.", `binwatch_notice_trouble{@}`},
	{"waiting", "What the database does not have yet.", `binwatch_influx_waiting_readings{@}`},
	{"journal", "How large the journal is, in MB, its log included.", `(binwatch_journal_file_bytes{@} + binwatch_journal_log_bytes{@}) / 1e6`},
	{"memory", "Memory that the daemon takes, in MB.", `process_resident_memory_bytes{@, job="binwatchd"} / 1e6`},
	{"well", "The daemon, the broker and the disk of each site: 1 when well, else 0.", `binwatch:well`},
	{"part", "The part of the last hour for which each condition stood.", `binwatch:condition:part1h`},
}

// crossed are the limits that forecasts speak of, as the metrics name them.
var crossed = map[string][]struct{ band, side, conditions string }{
	"temperature_celsius": {{"survive", "high", "heating|warming"}, {"survive", "low", "cooling"}},
	"moisture_ratio":      {{"thrive", "low", "drying|sift-passing"}, {"thrive", "high", "sift-ready"}},
}

// towards is a straight line from a level to the limit that a forecast expects it to
// cross, from the moment the asked range begins, which is now, to the crossing.
func towards(metric, end string) string {
	level := `binwatch_` + metric + `{@} @ start()`
	since := `(time() - timestamp(` + level + `))`
	var all []string
	for _, c := range crossed[metric] {
		way := fmt.Sprintf(`(binwatch_limit_%s{@, band=%q, side=%q} @ start() - ignoring (band, side) %s)`, strings.TrimPrefix(metric, "temperature_"), c.band, c.side, level)
		to := fmt.Sprintf(`(binwatch_forecast_%sseconds{@, condition=~%q} @ start() >= ignoring (condition) group_left () %s)`, end, c.conditions, since)
		all = append(all, fmt.Sprintf(`%s + ignoring (condition) group_right () (%s * %s / ignoring (condition) group_right () %s)`, level, way, since, to))
	}
	return strings.Join(all, " or ")
}

// A series is computed beforehand by those who load deploy/prometheus/binwatchd.rules.yml.
type series struct{ name, says, text string }

// recorded are all there are. Every one keeps the labels of what it is made of, site
// and instance among them, so that several farms never mix.
var recorded = []series{
	{
		"binwatch:well", `The daemon, its broker and its disk: 1 when all three are well, else 0. A
daemon that does not answer has nothing but its up, which is 0 then; what
answers and is no binwatchd has nothing but its up either.`,
		`min without (__name__) ({@, __name__=~"up|binwatch_broker_connected|binwatch_journal_writable", job="binwatchd"})
* (count without (__name__) ({@, __name__=~"up|binwatch_broker_connected|binwatch_journal_writable", job="binwatchd"}) == bool 3)`,
	},
	{
		"binwatch:temperature_celsius:mean1h", "The climate of a zone, smooth enough for a curve over weeks.",
		`avg_over_time(binwatch_temperature_celsius{@}[1h])`,
	},
	{"binwatch:moisture_ratio:mean6h", "", `avg_over_time(binwatch_moisture_ratio{@}[6h])`},
	{
		"binwatch:moisture_points:perday1d", "How fast a zone dries or gets wetter, in points of moisture a day.",
		`100 * 86400 * deriv(binwatch_moisture_ratio{@}[1d])`,
	},
	{
		"binwatch:species_activity_ratio:mean1d", "How well the worms could work over a day; 1 is their best.",
		`avg_over_time(binwatch_species_activity_ratio{@}[1d])`,
	},
	{
		"binwatch:conditions:count", `How many conditions stand, by site and urgency. A daemon that does not
answer has none: look at binwatch:well beside it.`,
		`count without (bin, zone, probe, condition, place) (binwatch_condition{@} == 1)`,
	},
	{
		"binwatch:condition:part1h", `The part of the last hour for which a condition stood, as far as its own
daemon answered.`,
		`sum_over_time(binwatch_condition{@}[1h])
/ on (job, instance, site) group_left () (sum_over_time(up{job="binwatchd"}[1h]) > 0)`,
	},
	{
		"binwatch:readings_believed:ratio1h", "What part of a probe's readings was believed.",
		`sum without (outcome) (increase(binwatch_readings_total{@, outcome="believed"}[1h]))
/ (sum without (outcome) (increase(binwatch_readings_total{@}[1h])) > 0)`,
	},
	{
		"binwatch:probe_silence_seconds", "How long a probe has said nothing.",
		`time() - binwatch_probe_last_reading_timestamp_seconds{@}`,
	},
}

var recordedName = regexp.MustCompile(`binwatch:[a-z0-9_:]+`)

// expanded is the text of a query over a scope, with nothing in it that has to be
// computed beforehand.
func expanded(key string, s scope) string {
	text := find(queries, key).text
	whole := recordedName.FindString(text) == text
	text = recordedName.ReplaceAllStringFunc(text, func(name string) string {
		for _, r := range recorded {
			if r.name == name {
				if whole {
					return r.text
				}
				return "(" + r.text + ")"
			}
		}
		return name
	})
	return strings.ReplaceAll(chosen(text, s), "\n", " ")
}

// chosen puts the choice of a scope into a text.
func chosen(text string, s scope) string {
	switch s {
	case site:
		return strings.ReplaceAll(text, "{@", `{site=~"$site"`)
	case zone:
		return strings.ReplaceAll(text, "{@", `{site=~"$site", bin=~"$bin", zone=~"$zone"`)
	}
	return strings.NewReplacer("{@}", "", "{@, ", "{").Replace(text)
}

// find gives the query of a key, which must be there.
func find(all []query, key string) query {
	for _, q := range all {
		if q.key == key {
			return q
		}
	}
	panic(fmt.Sprintf("dashboard: there is no query %q", key))
}
