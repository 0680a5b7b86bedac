package config

import (
	"time"

	"binwatchd/internal/farm"
	"gopkg.in/yaml.v3"
)

// file is the whole configuration: the root of the table of keys.
func file() codec[document] {
	return section("a configuration", []field[document]{
		key("farm", "What the farm is called in notices.", text("the farm's name", "Hillfoot Nursery"),
			func(d *document) *val[string] { return &d.farm }).needed("Hillfoot Nursery"),
		key("units", "What people read: metric or us. Inside, and in the database, everything is metric.",
			word("a system of units", []farm.Units{farm.Metric, farm.US}),
			func(d *document) *val[farm.Units] { return &d.units }).defaults("metric"),
		key("timezone", "The farm's time zone; the machine's when left out.", timezone(),
			func(d *document) *val[string] { return &d.timezone }),
		key("broker", "How probes are heard.", broker(),
			func(d *document) *val[brokerDoc] { return &d.broker }).neededToRun(`{url: "tcp://127.0.0.1:1883"}`),
		key("journal", "Where readings and the logbook are kept.", journal(),
			func(d *document) *val[journalDoc] { return &d.journal }).neededToRun("{path: /var/lib/binwatchd/journal.db}"),
		key("control", "The socket by which commands reach the daemon; beside the journal when left out.", path(),
			func(d *document) *val[string] { return &d.control }),
		key("influx", "A database that readings are forwarded to.", influx(),
			func(d *document) *val[influxDoc] { return &d.influx }),
		key("page", "The page for the phone in the shed, and the metrics.", page(),
			func(d *document) *val[pageDoc] { return &d.page }),
		key("mail", "The server that mail goes out by.", mail(),
			func(d *document) *val[mailDoc] { return &d.mail }),
		key("sign_of_life", "An address that is called while the daemon is healthy.", life(),
			func(d *document) *val[lifeDoc] { return &d.life }),
		key("probes", "Each measured quantity, by a name of your own. A name may hold named parts, as in rack-{n}, for many alike.",
			named("probes by name, such as bed-t: {topic: glass/bed, measures: temperature}", wrongProbeName, probe()),
			func(d *document) *val[[]entry[probeDoc]] { return &d.probes }).needed("{bed-t: {topic: glass/bed, measures: temperature}}"),
		key("bins", "Each bin or tub, by a name of your own.",
			named("bins by name", wrongName, bin()),
			func(d *document) *val[[]entry[binDoc]] { return &d.bins }).needed("{bed: {zones: {all: {aim: living, probes: [bed-t]}}}}"),
		key("species", "Species of your own, and parts of the built-in ones that you know better.",
			named("species by name", wrongName, species()),
			func(d *document) *val[[]entry[speciesDoc]] { return &d.species }),
		key("feeds", "How long each kind of food lasts worms at full activity.",
			named("feeds by name, such as grain: 45d", wrongName, duration(time.Hour, 3*365*day)),
			func(d *document) *val[[]entry[time.Duration]] { return &d.feeds }),
		key("need", "Castings wanted by a day; the rounds say whether it will be reached.",
			list("a list of needs, such as [{castings: 200 L, by: 10 Apr}]", need()),
			func(d *document) *val[[]val[needDoc]] { return &d.need }),
		key("tell", "Who is told of what.",
			list("a list of recipients, such as [{mail: keeper@example.org}]", teller()),
			func(d *document) *val[[]val[tellerDoc]] { return &d.tell }),
		key("rounds", "When the care list goes out by mail.", rounds(),
			func(d *document) *val[roundsDoc] { return &d.rounds }),
	})
}

func timezone() codec[string] {
	return scalar("a time zone", "Europe/London", func(s string) (string, error) {
		_, err := loadZone(s)
		return s, err
	}, asIs)
}

func need() codec[needDoc] {
	return small(section("an entry of need", []field[needDoc]{
		key("castings", "How much is wanted.", volume(),
			func(d *needDoc) *val[float64] { return &d.castings }).needed("200 L"),
		key("by", "The day by which it is wanted; without a year, the next such day.",
			calendarDay(),
			func(d *needDoc) *val[date] { return &d.by }).needed("10 Apr"),
	}))
}

func calendarDay() codec[date] {
	c := scalar("a day", "10 Apr", parseDate, formatDate)
	c.write = func(d date) *yaml.Node { return plainNode(formatDate(d)) }
	return c
}
