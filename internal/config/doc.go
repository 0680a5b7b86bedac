// Package config reads the keeper's YAML and turns it into a [farm.Farm] and
// the settings of the adapters, or into every problem at once, each as
// file:line:col: message with what would be right.
//
// A configuration exists once: [File] and the types of its parts. A key is a field
// of one of them, with its name, kind, default, example and help in tags; reading,
// [Config.Show] and [Schema] walk the types, so none of them can know a key that
// another does not. Where a value stands is kept beside, by a pointer to it.
//
// The files in reading order: config.go and settings.go (the keys), bins.go,
// probes.go and species.go (the keys of the farm, and how the farm is made of
// them), fields.go (how a type is read and written), marks.go (where values
// stand), kinds.go, quantities.go, addresses.go, calendar.go and secrets.go (single
// values), show.go (writing and the schema), build.go and servers.go (checks that
// no single value can show), templates.go (names that stand for many probes);
// load.go, parse.go and reader.go (from text to nodes), problem.go and suggest.go
// (what is said of mistakes).
//
// It opens no secret to keep it: a secret knows where it lies, and only its Reveal
// reads it.
package config
