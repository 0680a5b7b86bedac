package config

import (
	"slices"
	"strings"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

func (b *builder) buildBins() {
	for i := range b.doc.bins.v {
		e := &b.doc.bins.v[i]
		b.farm.Bins = append(b.farm.Bins, b.binOf(e))
	}
}

func (b *builder) binOf(e *entry[binDoc]) farm.Bin {
	d := &e.v
	if hasLiving(d) && !d.species.spoilt {
		// The commonest composting worm; also what the rules would take.
		d.species.or([]partDoc{{species: b.farm.Species[0].ID}}, byDefault)
	}
	b.shareOut(d)
	bin := farm.Bin{
		Name: e.name, Species: b.sharesOf(d),
		VolumeL: d.volume.v, WormsKg: d.worms.v, Ambient: d.ambient.v,
	}
	for i := range d.zones.v {
		z := &d.zones.v[i]
		bin.Zones = append(bin.Zones, b.zoneOf(z, d))
	}
	b.noteMix(d.species.at, bin)
	return bin
}

func hasLiving(d *binDoc) bool {
	for _, z := range d.zones.v {
		if z.v.aim.v == farm.Living {
			return true
		}
	}
	return false
}

// sharesOf gives the species of a bin as fractions that add up to 1.
func (b *builder) sharesOf(d *binDoc) []farm.Share {
	parts := d.species.v
	seen := map[string]bool{}
	for _, p := range parts {
		if _, known := b.farm.SpeciesByID(p.species); !known {
			b.problem(p.at, "%s is not a species known here: %s", quoted(p.species), hint(p.species, b.speciesIDs()))
		}
		if seen[p.species] {
			b.problem(p.at, "the species %s is named twice", p.species)
		}
		seen[p.species] = true
	}
	if len(parts) == 0 {
		return nil
	}
	rest, sum, wrong := restOfShares(parts)
	if wrong != "" && !d.species.spoilt {
		b.problem(d.species.at, "%s", wrong)
	}
	asShares := slices.ContainsFunc(parts, func(p partDoc) bool { return p.percent.present() })
	shares := make([]farm.Share, len(parts))
	for i := range parts {
		part := rest
		if asShares { // a plain list stays one
			parts[i].percent.or(rest, "what the others leave")
			part = parts[i].percent.v
		}
		shares[i] = farm.Share{Species: parts[i].species, Fraction: part / sum}
	}
	return shares
}

// noteMix tells of species that no one bin suits.
func (b *builder) noteMix(at place, bin farm.Bin) {
	worms := husbandry.WormsOf(&b.farm, bin)
	if s := husbandry.TempLimits(worms).Survive(); s.Low > s.High {
		b.note(at, "no temperature suits all of these species: some of them are always in danger")
	}
	if s := husbandry.MoistLimits(worms).Survive(); s.Low > s.High {
		b.note(at, "no moisture suits all of these species: some of them are always in danger")
	}
}

// roundingShare is what a sum of shares may be off by its roundings, in points.
const roundingShare = 0.01

// shareOut gives zones without a share an even part of the rest.
func (b *builder) shareOut(d *binDoc) {
	rest, without := 100.0, 0
	for _, z := range d.zones.v {
		rest -= z.v.share.v
		if !z.v.share.present() {
			without++
		}
	}
	switch {
	case len(d.zones.v) == 0:
		return
	case rest < -roundingShare:
		b.problem(d.zones.at, "the shares of the zones add up to %.4g%%, more than the bin", 100-rest)
		return
	case rest <= roundingShare && without > 0:
		b.problem(d.zones.at, "the shares of the zones add up to 100%%, and nothing is left for those without one")
		return
	}
	for i := range d.zones.v {
		d.zones.v[i].v.share.or(rest/float64(max(without, 1)), "what the other zones leave")
	}
}

func (b *builder) zoneOf(e *entry[zoneDoc], bin *binDoc) farm.Zone {
	d := &e.v
	takePace(&d.pace, bin.pace)
	if d.temperature.set {
		b.thriveInside(d.temperature, bandsOf(d.temperature.v))
	}
	if d.moisture.set {
		b.thriveInside(d.moisture, bandsOf(d.moisture.v))
	}
	if bin.dryMass.set {
		d.dryMass.or(bin.dryMass.v*d.share.v/100, "its share of the bin's")
	}
	zone := farm.Zone{
		Name: e.name, Aim: d.aim.v,
		Share: d.share.v / 100, DryMassKg: d.dryMass.v,
		Patience: d.pace.patience.v,
		Margin: map[farm.Quantity]float64{
			farm.Temperature: d.pace.margin.v.temperature.v, farm.Moisture: d.pace.margin.v.moisture.v,
		},
		LookAhead: farm.LookAhead{
			Heating: d.pace.lookAhead.v.heating.v, Drying: d.pace.lookAhead.v.drying.v,
		},
	}
	for q, doc := range map[farm.Quantity]val[bandsDoc]{farm.Temperature: d.temperature, farm.Moisture: d.moisture} {
		if own := bandsOf(doc.v); !own.IsZero() {
			if zone.Bands == nil {
				zone.Bands = map[farm.Quantity]farm.Bands{}
			}
			zone.Bands[q] = own
		}
	}
	for q, x := range d.limits.v {
		if x.set {
			if zone.Limits == nil {
				zone.Limits = map[farm.Quantity]farm.Band{}
			}
			zone.Limits[q] = x.v
		}
	}
	for _, p := range d.probes.v {
		zone.Probes = append(zone.Probes, p.v)
	}
	return zone
}

func bandsOf(d bandsDoc) farm.Bands {
	return farm.Bands{Thrive: d.thrive.v, Survive: d.survive.v}
}

// takePace fills in from a bin what its zone leaves out.
func takePace(zone *paceDoc, bin paceDoc) {
	const origin = "the bin's"
	zone.patience.or(bin.patience.v, origin)
	zone.margin.or(marginDoc{}, origin)
	zone.margin.v.temperature.or(bin.margin.v.temperature.v, origin)
	zone.margin.v.moisture.or(bin.margin.v.moisture.v, origin)
	zone.lookAhead.or(lookAheadDoc{}, origin)
	zone.lookAhead.v.heating.or(bin.lookAhead.v.heating.v, origin)
	zone.lookAhead.v.drying.or(bin.lookAhead.v.drying.v, origin)
}

// checkUses checks what each probe is used for, once all probes are known.
func (b *builder) checkUses(sources []*source) {
	placed := map[string]string{} // probe → bin/zone
	for _, bin := range b.doc.bins.v {
		for _, z := range bin.v.zones.v {
			measured := map[farm.Quantity]bool{}
			for _, p := range z.v.probes.v {
				b.checkPlaced(p, bin.name+"/"+z.name, placed)
				measured[b.probes[p.v].Measures] = true
			}
			for _, q := range farm.QuantityNames() {
				if x := z.v.limits.v[q]; x != nil && x.set && !measured[q] {
					b.note(x.at, "no probe in this zone measures %s, so its limits judge nothing", q)
				}
			}
		}
	}
	for _, bin := range b.doc.bins.v {
		b.checkAmbient(bin, placed)
	}
	for _, s := range sources {
		b.checkOf(s)
		b.noteIdle(s, placed)
		b.notePace(s)
	}
}

func (b *builder) checkPlaced(p val[string], where string, placed map[string]string) {
	probe, known := b.probes[p.v]
	if !known {
		return // reported already
	}
	if probe.Measures == farm.Battery {
		b.problem(p.at, "%s measures a battery; it is not named in a zone but names its probes with of", p.v)
	}
	switch other, twice := placed[p.v]; {
	case !twice:
		placed[p.v] = where
	case other == where:
		b.problem(p.at, "%s is named twice in this zone", p.v)
	default:
		b.problem(p.at, "%s already stands in %s; a probe that speaks for two zones needs a second entry with the same topic", p.v, other)
	}
}

func (b *builder) checkAmbient(bin entry[binDoc], placed map[string]string) {
	a := bin.v.ambient
	probe, known := b.probes[a.v]
	switch where := placed[a.v]; {
	case !known:
	case probe.Measures != farm.Temperature:
		b.problem(a.at, "%s measures %s; the air of the room is a temperature", a.v, probe.Measures)
	case strings.HasPrefix(where, bin.name+"/"):
		b.problem(a.at, "%s stands in %s and cannot also be the air around it", a.v, where)
	}
}

func (b *builder) checkOf(s *source) {
	for _, of := range s.doc.v.of.v {
		if of.v == s.doc.name {
			b.problem(of.at, "a battery cannot run on itself")
		}
		for _, part := range partsIn(of.v) {
			if !slices.Contains(s.template.parts, part) {
				b.problem(of.at, "the named part {%s} does not occur in the name %s", part, quoted(s.doc.name))
			}
		}
	}
}

// noteIdle tells of a probe that nothing uses: it may be meant so, or be a
// name left behind.
func (b *builder) noteIdle(s *source, placed map[string]string) {
	if s.isTemplate() {
		if len(s.bound) == 0 {
			b.note(s.doc.at, "no bin refers to a probe named like %s, so there is none", s.doc.name)
		}
		return
	}
	used := placed[s.doc.name] != "" || s.proto.Measures == farm.Battery
	for _, bin := range b.farm.Bins {
		used = used || bin.Ambient == s.doc.name
	}
	if !used {
		b.note(s.doc.at, "the probe %s is in no zone: its readings are kept, but judge nothing", s.doc.name)
	}
}
