// Package config reads the keeper's YAML and turns it into a [farm.Farm] and
// the settings of the adapters, or into every problem at once, each as
// file:line:col: message with what would be right.
//
// A configuration exists once: [File] and the types of its parts. A key is a field
// of one of them, with its name, kind, default, example and help in tags; reading,
// [Config.Show] and [Schema] walk the types, so none of them can know a key that
// another does not. Where a value stands is kept beside, by a pointer to it.
//
// The files in reading order: config.go (the keys), bins.go, places.go,
// probes.go and species.go (the keys of the farm, and how the farm is made of them), fields.go
// (how a type is read and written), kinds.go, addresses.go and special.go (single
// values, and what needs a form of its own), show.go (writing and the schema),
// check.go (what no single value can show), names.go (what was called otherwise), people.go, templates.go (names that stand for many
// probes); load.go and reader.go (from text to nodes and their places), problem.go
// (what is said of mistakes). The keys of the broker, the journal, the database, the
// page and the notices stand in settings.go of the packages that use them.
//
// It opens no secret to keep it: a secret knows where it lies, and only its Reveal
// reads it.
package config

import (
	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
	"binwatchd/internal/ingest"
	"binwatchd/internal/journal"
	"binwatchd/internal/notify"
	"binwatchd/internal/page"
)

// Need says what a configuration is loaded for.
type Need int

const (
	// ForRun wants everything the daemon needs: broker and journal too.
	ForRun Need = iota
	// ForRehearsal wants the farm alone. What else is there is checked all
	// the same, but nothing is missed.
	ForRehearsal
)

// A Config is a whole configuration, checked, with every default filled in.
// Files are named by absolute paths or relative to the folder the program was
// started in.
type Config struct {
	File
	Farm   farm.Farm // made of the file's probes, bins and tables
	Notes  []Problem // worth knowing, yet no reason to refuse the file
	Barred int       // how many of the notes keep the daemon from starting: a secret that is there and no good

	loaded *loaded // for Show and Wrong
}

// loaded is the file as it was loaded: a copy of a Config may have other parts.
type loaded struct {
	name  string
	file  *File
	marks marks
}

// A File is the root of a configuration: every key of it is a field, here or in
// the types of its parts.
type File struct {
	FarmName   string                  `yaml:"farm" kind:"the farm's name" like:"Hillfoot Nursery" need:"Hillfoot Nursery" help:"What the farm is called in notices."`
	Units      farm.Units              `yaml:"units" kind:"a system of units" words:"metric us" default:"metric" help:"What people read: metric or us. Inside, and in the database, everything is metric."`
	Timezone   string                  `yaml:"timezone" kind:"a time zone" help:"The farm's time zone; the machine's when left out."`
	Broker     ingest.BrokerSettings   `yaml:"broker" kind:"the broker" needrun:"{url: \"tcp://127.0.0.1:1883\"}" help:"How probes are heard."`
	Journal    journal.Settings        `yaml:"journal" kind:"the journal" needrun:"{path: /var/lib/binwatchd/journal.db}" help:"Where readings and the logbook are kept."`
	Control    string                  `yaml:"control" kind:"a file" help:"The socket by which commands reach the daemon; beside the journal when left out."`
	Influx     *influx.Settings        `yaml:"influx" kind:"influx" help:"A database that readings are forwarded to."`
	Page       *page.Settings          `yaml:"page" kind:"the page" help:"The page for the phone in the shed, and the metrics."`
	Mail       *notify.MailSettings    `yaml:"mail" kind:"mail" help:"The server that mail goes out by."`
	SignOfLife *notify.LifeSettings    `yaml:"sign_of_life" kind:"sign_of_life" help:"An address that is called while the daemon is healthy."`
	Probes     []Probe                 `yaml:"probes" kind:"a probe" list:"probes by name, such as bed-t: {topic: glass/bed, measures: temperature}" names:"templates" need:"{bed-t: {topic: glass/bed, measures: temperature}}" help:"Each measured quantity, by a name of your own. A name may hold named parts, as in rack-{n}, for many alike."`
	Bins       []Bin                   `yaml:"bins" kind:"a bin" list:"bins by name" need:"{bed: {zones: {all: {aim: living, probes: [bed-t]}}}}" help:"Each bin or tub, by a name of your own."`
	Path       []string                `yaml:"path,one" kind:"a bin or a pattern" like:"linden-*" list:"a list of bins" help:"The order in which you walk: the rounds and the page have the bins in it, and those it does not name after them. The file's order when left out; a * stands for any part of a name."`
	Places     []Room                  `yaml:"places" kind:"a place" list:"places by name, such as shed: {air: shed-air, bins: [stack]}" help:"Sheds, cellars and yards whose bins share one air, by a name of your own."`
	Species    []farm.Species          `yaml:"species" kind:"a species" list:"species by name" help:"Species of your own, and parts of the built-in ones that you know better."`
	Feeds      []farm.Feed             `yaml:"feeds" list:"feeds by name, such as grain: 45d" help:"How long each kind of food lasts worms at full activity."`
	Vessels    []farm.Vessel           `yaml:"vessels,flow" list:"measures by name, such as bucket: 9 L" help:"Measures of your own, for jots: a bucket of 9 L, a scoop of 300 g."`
	Needs      []Castings              `yaml:"need,flow" kind:"an entry of need" list:"a list of needs, such as [{castings: 200 L, by: 10 Apr}]" help:"Castings wanted by a day; the rounds say whether it will be reached."`
	Tell       []notify.TellerSettings `yaml:"tell" kind:"a recipient" list:"a list of recipients, such as [{mail: keeper@example.org}]" help:"Who is told of what."`
	People     []Person                `yaml:"people" kind:"a person" list:"people by name, such as mara: {password: {file: /etc/binwatchd/mara.secret}}" help:"Those who look after the farm together, by name: what each writes down, has seen or takes on says who it was."`
	Rounds     *notify.RoundsMail      `yaml:"rounds" kind:"the entry rounds" help:"When the care list goes out by mail."`
}

// Castings are wanted by a day.
type Castings struct {
	Castings float64 `yaml:"castings" kind:"a volume" need:"200 L" help:"How much is wanted."`
	By       Date    `yaml:"by" kind:"a day" like:"10 Apr" need:"10 Apr" help:"The day by which it is wanted; without a year, the next such day."`
	For      string  `yaml:"for" kind:"what it is for" like:"the plant sale" help:"What it is for, in your own words."`
}
