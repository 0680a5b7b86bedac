package config

import (
	"fmt"
	"time"

	"binwatchd/internal/farm"
	"gopkg.in/yaml.v3"
)

func bin() codec[binDoc] {
	fields := []field[binDoc]{
		key("species", "The worms: a list, or shares by mass such as {red: 70%, blue: 30%}. Red where worms work and none are named.", parts(),
			func(d *binDoc) *val[[]partDoc] { return &d.species }),
		key("volume", "Of the contents, all zones together.", volume(),
			func(d *binDoc) *val[float64] { return &d.volume }),
		key("dry_mass", "Of the contents if all water were gone; shared out to the zones.", mass(),
			func(d *binDoc) *val[float64] { return &d.dryMass }),
		key("worms", "Live worms, by mass.", mass(),
			func(d *binDoc) *val[float64] { return &d.worms }),
		key("ambient", "The temperature probe in the air of the room.", text("the name of a probe", "glass-air"),
			func(d *binDoc) *val[string] { return &d.ambient }),
	}
	fields = append(fields, pace(func(d *binDoc) *paceDoc { return &d.pace }, standing{"30m", "0.5C", "2%", "12h", "7d"})...)
	return section("a bin", append(fields,
		key("zones", "The parts of the bin, each with its own aim.",
			named("zones by name, such as all: {aim: living, probes: [bed-t]}", wrongName, zone()),
			func(d *binDoc) *val[[]entry[zoneDoc]] { return &d.zones }).needed("{all: {aim: living, probes: [bed-t]}}")))
}

func zone() codec[zoneDoc] {
	return section("a zone", append([]field[zoneDoc]{
		key("aim", "living: worms work here. sifting: finished, drying until it can be sifted. keeping: sifted castings kept alive.",
			word("an aim", farm.Aims), func(d *zoneDoc) *val[farm.Aim] { return &d.aim }).needed("living"),
		key("probes", "The probes that stand in it.", oneOrMore("a list of probes", text("the name of a probe", "bed-t")),
			func(d *zoneDoc) *val[[]val[string]] { return &d.probes }).needed("[bed-t]"),
		key("share", "Of the bin's volume and dry mass; zones without one share the rest evenly.", positive(percent()),
			func(d *zoneDoc) *val[float64] { return &d.share }),
		key("dry_mass", "Of this zone; overrules its share of the bin's.", mass(),
			func(d *zoneDoc) *val[float64] { return &d.dryMass }),
		key("temperature", "Bands of this zone, instead of the species'.", bands("bands of temperature", temperatureBand()),
			func(d *zoneDoc) *val[bandsDoc] { return &d.temperature }),
		key("moisture", "Bands of this zone, instead of the species' or the aim's.", bands("bands of moisture", percentBand()),
			func(d *zoneDoc) *val[bandsDoc] { return &d.moisture }),
		key("limits", "Of what has no bands: a notice is due the same day where a level is past one of them. An end may be left out: ..2000ppm.", limits(),
			func(d *zoneDoc) *val[byQuantity[farm.Band]] { return &d.limits }),
	}, pace(func(d *zoneDoc) *paceDoc { return &d.pace }, standing{})...))
}

// limits are those of each quantity that may have some.
func limits() codec[byQuantity[farm.Band]] {
	var fields []field[byQuantity[farm.Band]]
	for i := range farm.Quantities {
		if row := &farm.Quantities[i]; row.Limits {
			fields = append(fields, key(string(row.Name), "Limits of its "+row.Noun+".", rangeOf(row),
				func(d *byQuantity[farm.Band]) *val[farm.Band] { return d.at(row.Name) }))
		}
	}
	return small(section("limits", fields))
}

// A standing is what a bin's pace is where the file says nothing. A zone has
// an empty one: it asks its bin.
type standing struct{ patience, temperature, moisture, heating, drying string }

// pace is the keys that a bin and a zone have in common.
func pace[T any](of func(*T) *paceDoc, by standing) []field[T] {
	fields := []field[T]{
		key("patience", "How long a breach must last before it counts, and its end before that counts.", duration(0, 7*day),
			func(d *T) *val[time.Duration] { return &of(d).patience }).defaults(by.patience),
		key("margin", "How far back inside a limit counts as back.", margin(by),
			func(d *T) *val[marginDoc] { return &of(d).margin }),
		key("look_ahead", "How far ahead a forecast may warn.", lookAhead(by),
			func(d *T) *val[lookAheadDoc] { return &of(d).lookAhead }),
	}
	if by != (standing{}) {
		fields[1] = fields[1].defaults(fmt.Sprintf("{temperature: %s, moisture: %s}", by.temperature, by.moisture))
		fields[2] = fields[2].defaults(fmt.Sprintf("{heating: %s, drying: %s}", by.heating, by.drying))
	}
	return fields
}

func margin(by standing) codec[marginDoc] {
	return small(section("a margin", []field[marginDoc]{
		key("temperature", "A difference of temperatures.", temperatureStep(),
			func(d *marginDoc) *val[float64] { return &d.temperature }).defaults(by.temperature),
		key("moisture", "In points of moisture.", percent(),
			func(d *marginDoc) *val[float64] { return &d.moisture }).defaults(by.moisture),
	}))
}

func lookAhead(by standing) codec[lookAheadDoc] {
	return small(section("look_ahead", []field[lookAheadDoc]{
		key("heating", "Before a feed heats past the survive limit; 0s for no such forecast.", duration(0, 7*day),
			func(d *lookAheadDoc) *val[time.Duration] { return &d.heating }).defaults(by.heating),
		key("drying", "Before moisture leaves the thrive band; 0s for no such forecast.", duration(0, 60*day),
			func(d *lookAheadDoc) *val[time.Duration] { return &d.drying }).defaults(by.drying),
	}))
}

func bands(what string, band codec[farm.Band]) codec[bandsDoc] {
	return small(section(what, []field[bandsDoc]{
		key("thrive", "Where they do well.", band, func(d *bandsDoc) *val[farm.Band] { return &d.thrive }),
		key("survive", "Past this there is harm; thrive lies inside.", band, func(d *bandsDoc) *val[farm.Band] { return &d.survive }),
	}))
}

func species() codec[speciesDoc] {
	return section("a species", []field[speciesDoc]{
		key("name", "As you would say it.", text("a name", "Red worms"),
			func(d *speciesDoc) *val[string] { return &d.name }),
		key("latin", "As a book would say it.", text("a name", "Eisenia fetida"),
			func(d *speciesDoc) *val[string] { return &d.latin }),
		key("temperature", "Bands of temperature.", bands("bands of temperature", temperatureBand()),
			func(d *speciesDoc) *val[bandsDoc] { return &d.temperature }),
		key("moisture", "Bands of moisture, by fresh mass.", bands("bands of moisture", percentBand()),
			func(d *speciesDoc) *val[bandsDoc] { return &d.moisture }),
		key("cardinal", "Where activity begins, is best and ends.", cardinal(),
			func(d *speciesDoc) *val[cardinalDoc] { return &d.cardinal }),
		key("cocoon", "How cocoons hatch.", cocoon(),
			func(d *speciesDoc) *val[cocoonDoc] { return &d.cocoon }),
	})
}

func cardinal() codec[cardinalDoc] {
	return small(section("cardinal temperatures", []field[cardinalDoc]{
		key("min", "Colder, nothing happens.", temperature(), func(d *cardinalDoc) *val[float64] { return &d.min }),
		key("best", "Activity is at its height; nearer to max than to min.", temperature(), func(d *cardinalDoc) *val[float64] { return &d.best }),
		key("max", "Hotter, nothing happens.", temperature(), func(d *cardinalDoc) *val[float64] { return &d.max }),
	}))
}

func cocoon() codec[cocoonDoc] {
	return small(section("cocoons", []field[cocoonDoc]{
		key("base", "Warmth counts above this.", temperature(), func(d *cocoonDoc) *val[float64] { return &d.base }),
		key("degree_days", "Days times degrees Celsius above base until they hatch.", positive(number("a number of degree days")),
			func(d *cocoonDoc) *val[float64] { return &d.degreeDays }),
		key("hatchlings", "Young from one cocoon.", positive(number("a number of young")),
			func(d *cocoonDoc) *val[float64] { return &d.hatchlings }),
	}))
}

// parts is the species of a bin: one word, a list, or a mapping to shares.
func parts() codec[[]partDoc] {
	const wanted = "a list of species, such as [red, blue], or shares, such as {red: 70%, blue: 30%}"
	words := oneOrMore(wanted, text("the name of a species", "red"))
	return codec[[]partDoc]{
		read: func(r *reader, n node) ([]partDoc, bool) {
			if n.Kind == yaml.MappingNode {
				return readShares(r, n, wanted)
			}
			items, ok := words.read(r, n)
			var parts []partDoc
			for _, x := range items {
				parts = append(parts, partDoc{species: x.v, at: x.at})
			}
			return parts, ok
		},
		write: writeParts,
		schema: schema{"anyOf": []any{words.schema,
			schema{"type": "object", "minProperties": 1,
				"additionalProperties": schema{"anyOf": []any{percent().schema, schema{"type": "null"}}}}}},
	}
}

func readShares(r *reader, n node, wanted string) ([]partDoc, bool) {
	pairs, ok := r.pairs(n, wanted)
	if ok && len(n.Content) == 0 {
		r.problem(n.place(), "no species is named; expected %s", wanted)
	}
	var parts []partDoc
	for _, p := range pairs {
		if p.value.Kind == yaml.ScalarNode && p.value.ShortTag() == "!!null" {
			parts = append(parts, partDoc{species: p.name, at: p.at})
			continue
		}
		v, read := positive(percent()).read(r, p.value)
		parts = append(parts, partDoc{p.name, p.at, val[float64]{v: v, at: p.value.place(), set: read, spoilt: !read}})
		ok = ok && read
	}
	return parts, ok && len(parts) > 0
}

func writeParts(parts []partDoc) *yaml.Node {
	seq := &yaml.Node{Kind: yaml.SequenceNode, Style: yaml.FlowStyle}
	shares := &yaml.Node{Kind: yaml.MappingNode, Style: yaml.FlowStyle}
	for _, p := range parts {
		if p.percent.set {
			addPair(shares, p.species, percent().write(p.percent.v), "")
		} else {
			seq.Content = append(seq.Content, textNode(p.species))
		}
	}
	if len(shares.Content) > 0 {
		return shares
	}
	return seq
}

// restOfShares gives what each species without a share has: an equal part of
// what the others leave, by mass, in percent. sum is that of all of them.
func restOfShares(parts []partDoc) (rest, sum float64, wrong string) {
	without := 0
	for _, p := range parts {
		sum += p.percent.v
		if !p.percent.present() {
			without++
		}
	}
	switch {
	case without == 0 && (sum < 99.5 || sum > 100.5):
		return 0, sum, fmt.Sprintf("the shares of the species add up to %.4g%%, not to 100%%", sum)
	case without == 0:
		return 0, sum, ""
	case sum >= 99.5:
		return 0, sum, fmt.Sprintf("the shares of the species add up to %.4g%%, and nothing is left for those without one", sum)
	}
	return (100 - sum) / float64(without), 100, ""
}
