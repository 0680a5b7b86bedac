package config

import (
	"reflect"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"gopkg.in/yaml.v3"
)

// A Bin is a bin as the file has it.
type Bin struct {
	Name    string  `yaml:",name"`
	Species shares  `yaml:"species" help:"The worms: a list, or shares by mass such as {red: 70%, blue: 30%}. Red where worms work and none are named."`
	Volume  float64 `yaml:"volume" kind:"a volume" help:"Of the contents, all zones together."`
	DryMass float64 `yaml:"dry_mass" kind:"a mass" help:"Of the contents if all water were gone; shared out to the zones."`
	Worms   float64 `yaml:"worms" kind:"a mass" help:"Live worms, by mass."`
	Ambient string  `yaml:"ambient" kind:"a probe" like:"glass-air" help:"The temperature probe in the air of the room; its place's when left out."`
	Retired Date    `yaml:"retired" kind:"a day with its year" like:"2026-11-28" help:"From this day on it is out of use: its page, history and export stay, it is judged no more, and its probes are free for another bin."`
	Pace    `yaml:",inline"`
	Names   `yaml:",inline"`
	Zones   []Zone `yaml:"zones" kind:"a zone" list:"zones by name, such as all: {aim: living, probes: [bed-t]}" need:"{all: {aim: living, probes: [bed-t]}}" help:"The parts of the bin, each with its own aim."`
}

// A Zone is a zone as the file has it.
type Zone struct {
	Name        string     `yaml:",name"`
	Aim         farm.Aim   `yaml:"aim" kind:"an aim" need:"living" help:"living: worms work here. sifting: finished, drying until it can be sifted. keeping: sifted castings kept alive."`
	Probes      []string   `yaml:"probes,one" kind:"a probe" list:"a list of probes" need:"[bed-t]" help:"The probes that stand in it."`
	Share       float64    `yaml:"share" kind:"a share" help:"Of the bin's volume and dry mass; zones without one share the rest evenly."`
	DryMass     float64    `yaml:"dry_mass" kind:"a mass" help:"Of this zone; overrules its share of the bin's."`
	Holds       float64    `yaml:"holds" kind:"a volume" help:"What stood in it when it was first watched; the castings account begins with that."`
	Temperature farm.Bands `yaml:"temperature,flow" kind:"bands of temperature" of:"temperatures" help:"Bands of this zone, instead of the species'."`
	Moisture    farm.Bands `yaml:"moisture,flow" kind:"bands of moisture" of:"percentages" help:"Bands of this zone, instead of the species' or the aim's."`
	Limits      Limits     `yaml:"limits,flow" kind:"limits" help:"Of what has no bands: a notice is due the same day where a level is past one of them. An end may be left out: ..2000ppm."`
	Retired     Date       `yaml:"retired" kind:"a day with its year" like:"2026-11-28" help:"From this day on it is out of use; the bin's when left out."`
	Pace        `yaml:",inline" default:"-"`
	Names       `yaml:",inline"`
}

// Limits are those of the quantities that have no bands.
type Limits struct {
	Of byQuantity[farm.Band] `yaml:",quantities" help:"Limits of its"`
}

// Pace is how patient a bin or a zone is; what a zone leaves out it takes from
// its bin.
type Pace struct {
	Patience  time.Duration  `yaml:"patience" least:"0s" most:"7d" default:"30m" help:"How long a breach must last before it counts, and its end before that counts."`
	Margin    Margin         `yaml:"margin,flow" kind:"a margin" default:"{temperature: 0.5C, moisture: 2%}" help:"How far back inside a limit counts as back."`
	LookAhead farm.LookAhead `yaml:"look_ahead,flow" kind:"look_ahead" default:"{heating: 12h, cooling: 18h, warming: 18h, drying: 7d}" help:"How far ahead a forecast may warn."`
}

// Margin is how far back inside a limit counts as back.
type Margin struct {
	Temperature float64             `yaml:"temperature" kind:"a difference of temperatures" default:"0.5C" help:"A difference of temperatures."`
	Moisture    float64             `yaml:"moisture" kind:"a percentage" default:"2%" help:"In points of moisture."`
	Others      byQuantity[float64] `yaml:",quantities" help:"Of its"`
}

// Shares are the species of a bin, written as one word, a list, or a mapping to
// shares.
type shares []share

// A share is one species of a bin, with its percentage where the file gives one.
type share struct {
	Species string
	Percent float64
}

func sharesForm(in scope) form {
	const wanted = "a list of species, such as [red, blue], or shares, such as {red: 70%, blue: 30%}"
	word := in.kindOf(reflect.TypeFor[string](), "the name of a species", `like:"red"`)
	name := form{
		read:   func(r *reader, n node, into reflect.Value) bool { return word.read(r, n, into.Field(0)) },
		write:  func(m marks, v reflect.Value) *yaml.Node { return word.write(m, v.Field(0)) },
		schema: word.schema,
	}
	list := oneOrMore(listForm(wanted, name), name)
	percent := in.kinds["a share"]
	return form{
		read: func(r *reader, n node, into reflect.Value) bool {
			if n.Kind != yaml.MappingNode {
				return list.read(r, n, into)
			}
			all, ok := readShares(r, n, wanted, percent)
			into.Set(reflect.ValueOf(all))
			return ok
		},
		write: func(m marks, v reflect.Value) *yaml.Node {
			mapping := &yaml.Node{Kind: yaml.MappingNode, Style: yaml.FlowStyle}
			all := v.Interface().(shares)
			for i := range all {
				if s := &all[i]; m.set(&s.Percent) {
					addPair(mapping, s.Species, percent.write(m, reflect.ValueOf(s.Percent)), "")
				}
			}
			if len(mapping.Content) == 0 {
				return list.write(m, v)
			}
			return mapping
		},
		schema: schema{"anyOf": []any{list.schema,
			schema{"type": "object", "minProperties": 1,
				"additionalProperties": schema{"anyOf": []any{percent.schema, schema{"type": "null"}}}}}},
	}
}

func readShares(r *reader, n node, wanted string, percent form) (shares, bool) {
	pairs, ok := r.pairs(n, wanted)
	if len(n.Content) == 0 {
		r.problem(n.place(), "no species is named; expected %s", wanted)
	}
	all := make(shares, len(pairs))
	for i, p := range pairs {
		s := &all[i]
		s.Species, r.marks[s] = p.name, mark{at: p.at}
		if !p.value.isNull() {
			read := percent.read(r, p.value, reflect.ValueOf(&s.Percent).Elem())
			r.marks[&s.Percent] = mark{at: p.value.place(), spoilt: !read}
			ok = ok && read
		}
	}
	return all, ok && len(all) > 0
}

func (b *builder) buildBins() {
	for i := range b.file.Bins {
		b.farm.Bins = append(b.farm.Bins, b.bin(&b.file.Bins[i]))
	}
}

func (b *builder) bin(d *Bin) farm.Bin {
	living := slices.ContainsFunc(d.Zones, func(z Zone) bool { return z.Aim == farm.Living })
	if living && !b.spoilt(&d.Species) {
		// The commonest composting worm; also what the rules would take.
		or(b.marks, &d.Species, shares{{Species: b.farm.Species[0].ID}}, byDefault)
	}
	b.shareOut(d)
	bin := farm.Bin{Name: d.Name, Species: b.fractions(d), VolumeL: d.Volume, WormsKg: d.Worms, Ambient: d.Ambient, Named: b.named(d.Name, &d.Names)}
	for i := range d.Zones {
		bin.Zones = append(bin.Zones, b.zone(&d.Zones[i], d))
	}
	b.noteMix(b.at(&d.Species), bin)
	return bin
}

// fractions gives the species of a bin as fractions that add up to 1. Those without
// a share have an equal part of what the others leave, by mass.
func (b *builder) fractions(d *Bin) (out []farm.Share) {
	seen := map[string]bool{}
	sum, rest, without := 0.0, 0.0, 0
	for i := range d.Species {
		s := &d.Species[i]
		if _, known := b.farm.SpeciesByID(s.Species); !known {
			b.problem(b.at(s), "%s is not a species known here: %s", quoted(s.Species), hint(s.Species, b.speciesIDs()))
		}
		b.refuse(seen[s.Species], s, "the species %s is named twice", s.Species)
		seen[s.Species] = true
		if sum += s.Percent; !b.present(&s.Percent) {
			without++
		}
	}
	asShares := sum != 0 // a plain list stays one
	switch at := b.at(&d.Species); {
	case len(d.Species) == 0 || b.spoilt(&d.Species):
	case without == 0 && (sum < 99.5 || sum > 100.5):
		b.problem(at, "the shares of the species add up to %.4g%%, not to 100%%", sum)
	case without > 0 && sum >= 99.5:
		b.problem(at, "the shares of the species add up to %.4g%%, and nothing is left for those without one", sum)
	case without > 0:
		rest, sum = (100-sum)/float64(without), 100
	}
	for i := range d.Species {
		s, part := &d.Species[i], rest
		if asShares {
			or(b.marks, &s.Percent, rest, "what the others leave")
			part = s.Percent
		}
		out = append(out, farm.Share{Species: s.Species, Fraction: part / sum})
	}
	return out
}

// noteMix tells of species that no one bin suits.
func (b *builder) noteMix(at place, bin farm.Bin) {
	worms := husbandry.WormsOf(&b.farm, bin)
	for _, q := range []farm.Quantity{farm.Temperature, farm.Moisture} {
		if s := husbandry.WormLimits(worms, q).Survive(); s.Low > s.High {
			b.note(at, "no %s suits all of these species: some of them are always in danger", q)
		}
	}
}

// roundingShare is what a sum of shares may be off by its roundings, in points.
const roundingShare = 0.01

// shareOut gives zones without a share an even part of the rest.
func (b *builder) shareOut(d *Bin) {
	rest, without := 100.0, 0
	for i := range d.Zones {
		rest -= d.Zones[i].Share
		if !b.present(&d.Zones[i].Share) {
			without++
		}
	}
	switch {
	case len(d.Zones) == 0:
		return
	case rest < -roundingShare:
		b.problem(b.at(&d.Zones), "the shares of the zones add up to %.4g%%, more than the bin", 100-rest)
		return
	case rest <= roundingShare && without > 0:
		b.problem(b.at(&d.Zones), "the shares of the zones add up to 100%%, and nothing is left for those without one")
		return
	}
	for i := range d.Zones {
		or(b.marks, &d.Zones[i].Share, rest/float64(max(without, 1)), "what the other zones leave")
	}
}

func (b *builder) zone(d *Zone, bin *Bin) farm.Zone {
	b.marks.fill(reflect.ValueOf(&d.Pace).Elem(), reflect.ValueOf(&bin.Pace).Elem(), "the bin's")
	b.marks.fill(reflect.ValueOf(&d.Retired).Elem(), reflect.ValueOf(&bin.Retired).Elem(), "the bin's")
	b.thriveInside(&d.Temperature, d.Temperature)
	b.thriveInside(&d.Moisture, d.Moisture)
	if b.set(&bin.DryMass) {
		or(b.marks, &d.DryMass, bin.DryMass*d.Share/100, "its share of the bin's")
	}
	zone := farm.Zone{
		Name: d.Name, Aim: d.Aim, Probes: d.Probes,
		Share: d.Share / 100, DryMassKg: d.DryMass, HoldsL: d.Holds,
		Patience:  d.Patience,
		Margin:    map[farm.Quantity]float64{farm.Temperature: d.Margin.Temperature, farm.Moisture: d.Margin.Moisture},
		LookAhead: d.LookAhead,
		Named:     b.named(d.Name, &d.Names),
	}
	if b.set(&d.Retired) {
		zone.Retired = d.Retired.from(b.now, b.farm.Location)
	}
	for q, own := range map[farm.Quantity]farm.Bands{farm.Temperature: d.Temperature, farm.Moisture: d.Moisture} {
		if !own.IsZero() {
			if zone.Bands == nil {
				zone.Bands = map[farm.Quantity]farm.Bands{}
			}
			zone.Bands[q] = own
		}
	}
	for q, x := range d.Limits.Of {
		if b.set(x) {
			if zone.Limits == nil {
				zone.Limits = map[farm.Quantity]farm.Band{}
			}
			zone.Limits[q] = *x
			margin := d.Margin.Others.at(q)
			or(b.marks, margin, q.Row().MarginIn(*x), byDefault)
			zone.Margin[q] = *margin
		}
	}
	return zone
}

// checkUses checks what each probe is used for, once all probes are known.
func (b *builder) checkUses(sources []*source) {
	placed := map[string]farm.Place{} // by probe
	for _, bin := range b.file.Bins {
		for _, z := range bin.Zones {
			if b.zoneOf(bin.Name, z.Name).IsRetired(b.now) {
				continue
			}
			measured := map[farm.Quantity]bool{}
			for i := range z.Probes {
				b.checkPlaced(&z.Probes[i], farm.Place{Bin: bin.Name, Zone: z.Name}, placed)
				measured[b.probes[z.Probes[i]].Measures] = true
			}
			for _, q := range farm.QuantityNames() {
				if x := z.Limits.Of[q]; x != nil && b.set(x) && !measured[q] {
					b.note(b.at(x), "no probe in this zone measures %s, so its limits judge nothing", q)
				}
			}
		}
	}
	b.freeProbes(placed)
	for i := range b.file.Bins {
		b.checkAmbient(&b.file.Bins[i], placed)
	}
	b.checkRooms(placed)
	for _, s := range sources {
		b.checkOf(s)
		b.noteIdle(s, placed)
		b.notePace(s, placed)
	}
}

// freeProbes leaves to zones that are retired the probes that now stand in no other.
func (b *builder) freeProbes(placed map[string]farm.Place) {
	for i := range b.farm.Bins {
		bin := &b.farm.Bins[i]
		for k := range bin.Zones {
			z := &bin.Zones[k]
			if !z.IsRetired(b.now) {
				continue
			}
			z.Probes = slices.DeleteFunc(slices.Clone(z.Probes), func(id string) bool {
				_, elsewhere := placed[id]
				_, known := b.probes[id]
				return elsewhere || !known
			})
			for _, id := range z.Probes {
				placed[id] = farm.Place{Bin: bin.Name, Zone: z.Name}
			}
		}
	}
}

// zoneOf is a zone of the farm, which there is.
func (b *builder) zoneOf(bin, zone string) *farm.Zone {
	for i := range b.farm.Bins {
		for k := range b.farm.Bins[i].Zones {
			if z := &b.farm.Bins[i].Zones[k]; b.farm.Bins[i].Name == bin && z.Name == zone {
				return z
			}
		}
	}
	return &farm.Zone{}
}

func (b *builder) checkPlaced(p *string, where farm.Place, placed map[string]farm.Place) {
	probe, known := b.probes[*p]
	if !known {
		return // reported already
	}
	b.refuse(probe.Measures == farm.Battery, p, "%s measures a battery; it is not named in a zone but names its probes with of", *p)
	switch other, twice := placed[*p]; {
	case !twice:
		placed[*p] = where
	case other == where:
		b.problem(b.at(p), "%s is named twice in this zone", *p)
	case !b.zoneOf(other.Bin, other.Zone).Retired.IsZero():
		b.problem(b.at(p), "%s stands in %s until %s; from that day on it can stand here", *p, other, b.zoneOf(other.Bin, other.Zone).Retired.Format(time.DateOnly))
	default:
		b.problem(b.at(p), "%s already stands in %s; a probe that speaks for two zones needs a second entry with the same topic", *p, other)
	}
}

func (b *builder) checkAmbient(bin *Bin, placed map[string]farm.Place) {
	a, at := bin.Ambient, b.at(&bin.Ambient)
	probe, known := b.probes[a]
	switch where := placed[a]; {
	case !known || !b.given(&bin.Ambient): // a place's is checked there
	case probe.Measures != farm.Temperature:
		b.problem(at, "%s measures %s; the air of the room is a temperature", a, probe.Measures)
	case where.Bin == bin.Name:
		b.problem(at, "%s stands in %s and cannot also be the air around it", a, where)
	}
}
