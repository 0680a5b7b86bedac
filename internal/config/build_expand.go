package config

import (
	"maps"
	"slices"

	"binwatchd/internal/farm"
)

// A reference is a place where the file names a probe.
type reference struct {
	id string
	at place
}

// A source is one entry of probes: with the probes that it stands for: itself,
// or for a template one for each set of named parts that something refers to.
type source struct {
	doc      *entry[probeDoc]
	proto    farm.Probe
	template template
	bound    []map[string]string
}

func (s *source) isTemplate() bool { return len(s.template.parts) > 0 }

// buildProbes makes the farm's probes in the order of the file. Templates
// stand for what bins refer to, in that order; then batteries follow the
// probes that run on them.
func (b *builder) buildProbes() {
	sources := make([]*source, len(b.doc.probes.v))
	single := map[string]bool{}
	for i := range b.doc.probes.v {
		e := &b.doc.probes.v[i]
		sources[i] = &source{doc: e, proto: b.probeOf(e), template: newTemplate(e.name)}
		single[e.name] = !sources[i].isTemplate()
	}
	for _, ref := range b.references() {
		if !single[ref.id] {
			b.bind(sources, ref)
		}
	}
	for _, s := range sources {
		if s.isTemplate() && s.proto.Measures == farm.Battery {
			bindBattery(sources, s)
		}
	}
	b.probes = map[string]farm.Probe{}
	for _, s := range sources {
		for _, p := range s.probes() {
			b.farm.Probes = append(b.farm.Probes, p)
			b.probes[p.ID] = p
		}
	}
	b.linkBatteries(sources)
	b.checkUses(sources)
}

// references lists where probes are named: zones and rooms by bin, then what
// batteries power.
func (b *builder) references() []reference {
	var refs []reference
	for _, bin := range b.doc.bins.v {
		for _, z := range bin.v.zones.v {
			for _, p := range z.v.probes.v {
				refs = append(refs, reference{p.v, p.at})
			}
		}
		if a := bin.v.ambient; a.set {
			refs = append(refs, reference{a.v, a.at})
		}
	}
	for _, e := range b.doc.probes.v {
		for _, p := range e.v.of.v {
			if len(partsIn(p.v)) == 0 {
				refs = append(refs, reference{p.v, p.at})
			}
		}
	}
	return refs
}

// bind finds the template that a reference means and lets it stand for one
// more.
func (b *builder) bind(sources []*source, ref reference) {
	var found []*source
	var parts map[string]string
	for _, s := range sources {
		if !s.isTemplate() {
			continue
		}
		if m, ok := s.template.match(ref.id); ok {
			found, parts = append(found, s), m
		}
	}
	switch {
	case len(sources) == 0: // that there are no probes is known
	case len(partsIn(ref.id)) > 0:
		b.problem(ref.at, "named parts stand in probes only; here one probe is named, such as %s", namedPart.ReplaceAllString(ref.id, "1"))
	case len(found) == 0:
		b.problem(ref.at, "there is no probe %s: %s", quoted(ref.id), hint(ref.id, sourceNames(sources)))
	case len(found) == 1:
		found[0].stand(parts)
	default:
		b.problem(ref.at, "%s could be %s or %s: make their names differ more", quoted(ref.id), found[0].doc.name, found[1].doc.name)
	}
}

// stand adds one set of named parts, once.
func (s *source) stand(parts map[string]string) {
	if !slices.ContainsFunc(s.bound, func(m map[string]string) bool { return maps.Equal(m, parts) }) {
		s.bound = append(s.bound, parts)
	}
}

// bindBattery lets a template of batteries stand for one wherever a probe that
// runs on it does.
func bindBattery(sources []*source, battery *source) {
	for _, of := range battery.doc.v.of.v {
		powered := newTemplate(of.v)
		for _, s := range sources {
			if s == battery {
				continue
			}
			for _, p := range s.probes() {
				if parts, ok := powered.match(p.ID); ok && covers(parts, battery.template.parts) {
					battery.stand(parts)
				}
			}
		}
	}
}

func covers(parts map[string]string, names []string) bool {
	for _, n := range names {
		if _, ok := parts[n]; !ok {
			return false
		}
	}
	return true
}

// probes gives the probes that an entry stands for.
func (s *source) probes() []farm.Probe {
	if !s.isTemplate() {
		return []farm.Probe{s.proto}
	}
	out := make([]farm.Probe, len(s.bound))
	for i, parts := range s.bound {
		p := s.proto
		p.ID, p.Topic, p.Value, p.Time = fill(p.ID, parts), fill(p.Topic, parts), fill(p.Value, parts), fill(p.Time, parts)
		out[i] = p
	}
	return out
}

// linkBatteries fills in which probes run on each battery. A template's may
// name some that no bin uses; those are left out.
func (b *builder) linkBatteries(sources []*source) {
	at := 0
	for _, s := range sources {
		for i := range s.probes() {
			p := &b.farm.Probes[at]
			at++
			for _, of := range s.doc.v.of.v {
				id := of.v
				if s.isTemplate() {
					id = fill(id, s.bound[i])
				}
				if _, known := b.probes[id]; known && id != p.ID && !slices.Contains(p.Of, id) {
					p.Of = append(p.Of, id)
				}
			}
		}
	}
}

func sourceNames(sources []*source) []string {
	names := make([]string, len(sources))
	for i, s := range sources {
		names[i] = s.doc.name
	}
	return names
}
