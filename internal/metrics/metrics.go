// Package metrics shows the farm in figures: at /metrics in the text format of
// Prometheus or in OpenMetrics, whichever is asked for, and at /healthz whether the
// daemon does its work.
//
// Every scrape looks at the farm once and turns that look into metrics, so nothing
// here grows, is cached or can be stale. A value is shown only while it is
// fresh: a level that nobody measures any more disappears, rather than standing
// still at its last value. Labels come from the configuration and from fixed
// words, never from a payload.
//
// metrics.go has the metrics, scrape.go what of the farm goes into each, text.go how they
// are written, handler.go who is answered. It judges nothing and changes nothing. Only cmd
// calls it.
package metrics

import (
	"log/slog"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// A Config names what is to be shown. Its functions are called during a scrape, by
// several at once, and must not block for long. A false tells that there is nothing
// to show now; a nil function that there never is.
type Config struct {
	Version string                   // of the program
	Look    func() (farm.View, bool) // how the farm stands; needed
	Journal func() (Journal, bool)
	Influx  func() (Influx, bool)
	Notices func() []Notices
	Starts  Starts
	Process bool         // what the program itself takes is shown, under the names usual for Go
	Log     *slog.Logger // nil: nothing is logged
}

// Starts are what counters are shown for before anything is counted, so that a rate
// has a zero to rise from.
type Starts struct {
	Messages []string // what may become of a message
	Rejected []string // why one may give no reading of a probe
}

// Journal is the size of the journal.
type Journal struct {
	FileBytes int64     // of the database file
	LogBytes  int64     // of the write-ahead log beside it
	FreeBytes int64     // of the file, to be used again
	Packed    int64     // readings in chunks
	Unpacked  int64     // readings not packed yet
	Events    int64     // all other events
	Oldest    time.Time // arrival of the oldest raw reading kept; zero: there is none
}

// Influx is how forwarding stands. Counts begin with the daemon.
type Influx struct {
	Waiting int64     // readings that the database does not have yet
	Written int64     // rows accepted
	Parked  int64     // rows refused and put aside
	Failed  int64     // requests that brought nothing
	At      time.Time // of the newest success; zero before
}

// Notices counts what became of notices since the daemon began.
type Notices struct {
	By      string // mail, push or webhook
	Outcome string // a fixed word
	Count   int64
}

// A zoneMetric is a metric of a zone, which has the label place where the bin has
// been given one.
type zoneMetric struct{ bare, placed *metric }

func defineZone(name, help string, labels ...string) zoneMetric {
	labels = append([]string{"bin", "zone"}, labels...)
	return zoneMetric{define(name, help, labels...), define(name, help, append(labels, "place")...)}
}

// levelMetrics are those of the levels of one quantity, and of what a zone's level
// is held to.
type levelMetrics struct {
	row                            farm.QuantityRow
	middle, lowest, highest, limit zoneMetric
	air                            *metric // of a room
}

// levels makes the metrics of every quantity that has some.
func levels() (all []levelMetrics) {
	for _, q := range farm.Quantities {
		g := q.Gauge
		of := func(end, help string) zoneMetric {
			return defineZone(strings.Trim(g.Name+end+g.Unit, "_"), help)
		}
		limit := "limit_" + g.Name + "_" + g.Unit
		if q.Name == farm.Temperature {
			limit = "limit_" + g.Unit // nothing else is in degrees
		}
		if g.Name != "" {
			all = append(all, levelMetrics{
				q,
				of("_", g.Help+": the middle of its believed probes, each by its running median."),
				of("_lowest_", g.Lowest+" of a zone's probes, where several speak."),
				of("_highest_", g.Highest+" of a zone's probes, where several speak."),
				defineZone(strings.Trim(limit, "_"), "What a zone's "+q.Noun+" is held to.", "band", "side"),
				define(strings.Trim("air_"+g.Name+"_"+g.Unit, "_"), "The air of a room, by its probe's newest reading: "+q.Noun+".", "place", "probe"),
			})
		}
	}
	return all
}

const conditionHelp = "1 while the condition is raised."

var (
	// The zones.
	activity    = defineZone("species_activity_ratio", "How actively a species works at the zone's temperature and moisture; 1 is its best.", "species")
	waterNeeded = defineZone("water_needed_litres", "Water that would bring the zone to the middle of its thrive band.")
	castings    = defineZone("castings_litres", "Castings that a tub holds, as far as was told of.")
	forecast    = defineZone("forecast_seconds", "Time until a limit is expected to be crossed.", "condition")
	earliest    = defineZone("forecast_earliest_seconds", "The early end of the forecast's 80 % interval.", "condition")
	latest      = defineZone("forecast_latest_seconds", "The late end of the forecast's 80 % interval; none while no end is in sight.", "condition")
	zoneJudged  = defineZone("zone_judged", "1 when the zone can be judged by all that its probes measure.")

	// The conditions. That of a probe has one label more.
	condition      = defineZone("condition", conditionHelp, "condition", "urgency")
	probeCondition = defineZone("condition", conditionHelp, "condition", "urgency", "probe")

	// The probes and what they send.
	lastReading = define("probe_last_reading_timestamp_seconds", "Time of the probe's newest reading.", "probe")
	readings    = define("readings_total", "Readings by what became of them.", "probe", "outcome")
	rejected    = define("rejected_messages_total", "Messages that gave no reading of a probe they were meant for.", "probe", "reason")
	delay       = define("reading_delay_seconds", "How long readings that carry a time stamp took from their probe to the daemon.")
	messages    = define("messages_total", "Messages from the broker by what became of them.", "outcome")

	// The machinery.
	brokerConnected = define("broker_connected", "1 while the broker can be heard.")
	journalWritable = define("journal_writable", "1 while readings reach the journal.")
	journalFile     = define("journal_file_bytes", "Size of the journal's file.")
	journalLog      = define("journal_log_bytes", "Size of the write-ahead log beside it.")
	journalFree     = define("journal_free_bytes", "Part of the file that is free to be used again.")
	journalReadings = define("journal_readings", "Raw readings kept, packed into chunks or not.", "packed")
	journalEvents   = define("journal_events", "Other events kept.")
	journalOldest   = define("journal_oldest_reading_timestamp_seconds", "Arrival of the oldest raw reading kept.")
	copyAt          = define("journal_copy_last_success_timestamp_seconds", "When the newest copy of the journal that was found good was made.")
	copyTrouble     = define("journal_copy_trouble", "1 when the journal could not be copied the last time.")
	influxWaiting   = define("influx_waiting_readings", "Events of the journal, nearly all of them readings, that the time-series database has not been given yet.")
	influxWritten   = define("influx_written_rows_total", "Rows that the time-series database has accepted.")
	influxParked    = define("influx_parked_rows_total", "Rows that it refused and that were put aside.")
	influxFailed    = define("influx_failed_requests_total", "Requests to it that brought nothing.")
	influxAt        = define("influx_last_success_timestamp_seconds", "When it last accepted rows.")
	notices         = define("notices_total", "Notices by the way they went and what became of them.", "by", "outcome")
	noticeTrouble   = define("notice_trouble", "1 when the last attempt to tell a recipient has failed; it is named by its place in the configuration.", "by", "recipient")
	build           = define("build_info", "1, with the program's version.", "version")
)
