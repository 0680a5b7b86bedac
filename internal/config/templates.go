package config

import (
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"binwatchd/internal/farm"
)

// namedPart is a part of a probe's name or topic that stands for many.
var (
	namedPart  = regexp.MustCompile(`\{([a-z][a-z0-9_]*)\}`)
	quotedPart = regexp.MustCompile(`\\\{[a-z][a-z0-9_]*\\\}`) // in a regular expression
)

// A template is a name with named parts, such as rack-{n}-t, which stands for
// rack-1-t, rack-2-t and so on.
type template struct {
	parts   []string // as they occur; one may occur twice
	pattern *regexp.Regexp
}

func newTemplate(name string) template {
	t := template{parts: partsIn(name)}
	if len(t.parts) > 0 { // a plain name stands for itself alone
		pattern := quotedPart.ReplaceAllLiteralString(regexp.QuoteMeta(name), `([\pL\pN][\pL\pN._-]*?)`)
		t.pattern = regexp.MustCompile("^" + pattern + "$")
	}
	return t
}

// partsIn lists the named parts of a text.
func partsIn(s string) []string {
	var parts []string
	for _, m := range namedPart.FindAllStringSubmatch(s, -1) {
		parts = append(parts, m[1])
	}
	return parts
}

// match tells what the named parts stand for in a name; ok is false when the
// template does not stand for it, as when it has no named part.
func (t template) match(name string) (parts map[string]string, ok bool) {
	if t.pattern == nil {
		return nil, false
	}
	m := t.pattern.FindStringSubmatch(name)
	if m == nil {
		return nil, false
	}
	parts = map[string]string{}
	for i, part := range t.parts {
		if old, twice := parts[part]; twice && old != m[i+1] {
			return nil, false
		}
		parts[part] = m[i+1]
	}
	return parts, true
}

// fill puts what the named parts stand for into a text; parts it does not know
// stay.
func fill(s string, parts map[string]string) string {
	return namedPart.ReplaceAllStringFunc(s, func(part string) string {
		if v, ok := parts[part[1:len(part)-1]]; ok {
			return v
		}
		return part
	})
}

// longestName bounds the names of bins, zones and probes, which become parts
// of topics, labels and addresses.
const longestName = 64

// CheckName tells what keeps a text from naming a bin, a zone or a probe.
func CheckName(s string) error {
	if wrong := wrongName(s); wrong != "" {
		return errors.New(wrong)
	}
	return nil
}

// wrongName tells what keeps a text from naming a bin, a zone, a probe, a
// species or a feed.
func wrongName(s string) string {
	switch {
	case s == "":
		return "a name cannot be empty"
	case utf8.RuneCountInString(s) > longestName:
		return fmt.Sprintf("the name %s is longer than %d characters", quoted(s), longestName)
	}
	for i, c := range s {
		letter := unicode.IsLetter(c) || unicode.IsDigit(c)
		if !letter && (i == 0 || c != '-' && c != '_' && c != '.') {
			return fmt.Sprintf("%s cannot be a name: it begins with a letter or digit and goes on with letters, digits, -, _ or .", quoted(s))
		}
	}
	return ""
}

func wrongProbeName(s string) string {
	bare := namedPart.ReplaceAllString(s, "x")
	if strings.ContainsAny(bare, "{}") {
		return fmt.Sprintf("%s cannot be a name: a named part is small letters in braces, as in rack-{n}-t", quoted(s))
	}
	return wrongName(bare)
}

// wrongParts checks that a probe's name and its topic have the same named
// parts. A part may also stand in value, where one message carries many.
func wrongParts(name, topic, value string) string {
	inName := partsIn(name)
	for _, part := range partsIn(topic) {
		if !slices.Contains(inName, part) {
			return fmt.Sprintf("the topic has the named part {%s} and the probe's name has not: many probes would share one name", part)
		}
	}
	for _, part := range inName {
		if !strings.Contains(topic+value, "{"+part+"}") {
			return fmt.Sprintf("the probe's name has the named part {%s} and its topic has not: all of them would read the same", part)
		}
	}
	return ""
}

// A source is one entry of probes: with the probes that it stands for: itself,
// or for a template one for each set of named parts that something refers to.
type source struct {
	doc      *Probe
	proto    farm.Probe
	template template
	bound    []map[string]string
}

func (s *source) isTemplate() bool { return len(s.template.parts) > 0 }

// buildProbes makes the farm's probes in the order of the file. Templates
// stand for what bins refer to, in that order; then batteries follow the
// probes that run on them.
func (b *builder) buildProbes() {
	sources := make([]*source, len(b.file.Probes))
	single := map[string]bool{}
	for i := range b.file.Probes {
		e := &b.file.Probes[i]
		sources[i] = &source{doc: e, proto: b.probeOf(e), template: newTemplate(e.Name)}
		single[e.Name] = !sources[i].isTemplate()
	}
	for _, ref := range b.references() {
		if !single[*ref] {
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
	b.linkBatteries()
	b.checkUses(sources)
}

// references lists where probes are named: zones and their air by bin, the air of places, then what
// batteries power.
func (b *builder) references() (refs []*string) {
	b.old = map[*string]bool{}
	for i := range b.file.Bins {
		bin := &b.file.Bins[i]
		for _, z := range bin.Zones {
			for i := range z.Probes {
				refs = append(refs, &z.Probes[i])
				b.old[&z.Probes[i]] = b.zoneOf(bin.Name, z.Name).IsRetired(b.now)
			}
		}
		if b.given(&bin.Ambient) {
			refs = append(refs, &bin.Ambient)
		}
	}
	for i := range b.file.Places {
		if room := &b.file.Places[i]; b.set(&room.Air) {
			refs = append(refs, &room.Air)
		}
	}
	for _, e := range b.file.Probes {
		for i := range e.Of {
			if !namedPart.MatchString(e.Of[i]) {
				refs = append(refs, &e.Of[i])
			}
		}
	}
	return refs
}

// bind finds the template that a reference means and lets it stand for one
// more.
func (b *builder) bind(sources []*source, ref *string) {
	var found []*source
	var parts map[string]string
	for _, s := range sources {
		if m, ok := s.template.match(*ref); ok {
			found, parts = append(found, s), m
		}
	}
	switch at := b.at(ref); {
	case len(sources) == 0: // that there are no probes is known
	case namedPart.MatchString(*ref):
		b.problem(at, "named parts stand in probes only; here one probe is named, such as %s", namedPart.ReplaceAllString(*ref, "1"))
	case len(found) == 0 && b.old[ref]: // its probe may be gone, too
	case len(found) == 0:
		names := namesOf(sources, func(s *source) string { return s.doc.Name })
		b.problem(at, "there is no probe %s: %s", quoted(*ref), hint(*ref, names))
	case len(found) == 1:
		found[0].stand(parts)
	default:
		b.problem(at, "%s could be %s or %s: make their names differ more", quoted(*ref), found[0].doc.Name, found[1].doc.Name)
	}
}

// stand adds one set of named parts, once.
func (s *source) stand(parts map[string]string) {
	if !slices.ContainsFunc(s.bound, func(m map[string]string) bool { return maps.Equal(m, parts) }) {
		s.bound = append(s.bound, parts)
	}
}

// bindBattery lets a template of batteries stand for one wherever a probe that
// runs on it does: one of the template that of names. Where there is none of that
// name it may be an entry of its own whose topic has the same parts, for one that
// only bears such a name sits on another device.
func bindBattery(sources []*source, battery *source) {
	for _, of := range battery.doc.Of {
		powered := newTemplate(of)
		named := slices.ContainsFunc(sources, func(s *source) bool { return s.doc.Name == of })
		for _, s := range sources {
			if s == battery || named && s.doc.Name != of {
				continue
			}
			for _, p := range s.probes() {
				parts, ok := powered.match(p.ID)
				if ok && covers(parts, battery.template.parts) && (named || hasParts(p, parts)) {
					battery.stand(parts)
				}
			}
		}
	}
}

// hasParts tells whether where a probe speaks bears each of some named parts.
func hasParts(p farm.Probe, parts map[string]string) bool {
	for _, v := range parts {
		if !regexp.MustCompile(`(^|[^\pL\pN])` + regexp.QuoteMeta(v) + `($|[^\pL\pN])`).MatchString(p.Topic + "/" + p.Value) {
			return false
		}
	}
	return true
}

// noteOddOne tells of a probe of a template whose named part is no number where all
// others' are: a slip of the pen makes a probe that nobody has.
func (b *builder) noteOddOne(s *source) {
	for _, part := range s.template.parts {
		var odd []string
		for _, parts := range s.bound {
			if strings.Trim(parts[part], "0123456789") != "" {
				odd = append(odd, parts[part])
			}
		}
		if len(odd) == 1 && len(s.bound) > 2 {
			b.note(b.at(s.doc), "%s stands for %d probes, and {%s} is a number in all but %s: is that one meant?", s.doc.Name, len(s.bound), part, quoted(odd[0]))
		}
	}
}

// covers tells whether each of some named parts stands for something.
func covers(parts map[string]string, names []string) bool {
	return !slices.ContainsFunc(names, func(n string) bool { _, ok := parts[n]; return !ok })
}

// probes gives the probes that an entry stands for. What runs on a battery is all
// that it names, be it there or not.
func (s *source) probes() []farm.Probe {
	if !s.isTemplate() {
		return []farm.Probe{s.proto}
	}
	out := make([]farm.Probe, len(s.bound))
	for i, parts := range s.bound {
		p := s.proto
		p.ID, p.Topic, p.Value, p.Time = fill(p.ID, parts), fill(p.Topic, parts), fill(p.Value, parts), fill(p.Time, parts)
		p.Of = namesOf(p.Of, func(of string) string { return fill(of, parts) })
		p.Alive.Topic, p.Via = fill(p.Alive.Topic, parts), fill(p.Via, parts)
		if len(p.Was) > 0 {
			p.Was = namesOf(p.Was, func(was string) string { return fill(was, parts) })
		}
		out[i] = p
	}
	return out
}

// linkBatteries leaves out of what runs on each battery what no bin uses, as a
// template may name.
func (b *builder) linkBatteries() {
	for i := range b.farm.Probes {
		p := &b.farm.Probes[i]
		var of []string
		for _, id := range p.Of {
			if _, known := b.probes[id]; known && id != p.ID && !slices.Contains(of, id) {
				of = append(of, id)
			}
		}
		p.Of = of
	}
}
