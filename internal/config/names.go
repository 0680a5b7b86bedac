package config

import (
	"fmt"
	"slices"

	"binwatchd/internal/farm"
)

// Names are what a bin, a zone or a probe was called before.
type Names struct {
	Was []string `yaml:"was,one" kind:"a former name" like:"linden-02" list:"a list of names" help:"What it was called before: its history goes on under its new name. It may be taken out once a daemon has run with it."`
}

// named gives the names of a bin, a zone or a probe.
func (b *builder) named(name string, d *Names) farm.Named {
	for i := range d.Was {
		was := &d.Was[i]
		b.refuse(*was == name, was, "%s is its name now; was is for what it was called before", quoted(name))
		b.refuse(slices.Contains(d.Was[:i], *was), was, "%s is named twice", quoted(*was))
		for _, part := range partsIn(*was) {
			b.refuse(!slices.Contains(partsIn(name), part), was, "the named part {%s} does not occur in the name %s", part, quoted(name))
		}
		for _, part := range partsIn(name) {
			b.refuse(!slices.Contains(partsIn(*was), part), was, "all that %s stands for would have been one: write {%s} here too", quoted(name), part)
		}
	}
	return farm.Named{Was: d.Was}
}

// A nameable is something of the file with its names, among others of its kind.
type nameable struct {
	name string
	*Names
}

// checkNames holds the former names of all of a kind against each other and against the
// names in use. Two may have changed theirs; what keeps its name can't be another's past.
func (b *builder) checkNames(kind string, all []nameable) {
	use, first := map[string]nameable{}, map[string]nameable{}
	for _, n := range all {
		use[n.name] = n
	}
	for _, n := range all {
		for i := range n.Was {
			was := &n.Was[i]
			live, lives := use[*was]
			other, twice := first[*was]
			switch {
			case *was == n.name: // said already
			case lives && len(live.Was) == 0:
				b.problem(b.at(was), "there is still a %s called %s, so this one cannot have been it; if the two have changed names, say so at both", kind, *was)
			case twice && other.name != n.name:
				b.problem(b.at(was), "%s says that it was %s as well, on line %d; one of them was", other.name, *was, b.lineOf(other.Was, *was))
			default:
				first[*was] = n
			}
		}
	}
}

// lineOf is the line of a former name.
func (b *builder) lineOf(all []string, was string) int {
	return b.at(&all[slices.Index(all, was)]).line
}

// checkAllNames does so for bins, for the zones of each, and for probes.
func (b *builder) checkAllNames() {
	var bins, probes []nameable
	for i := range b.file.Bins {
		d := &b.file.Bins[i]
		bins = append(bins, nameable{d.Name, &d.Names})
		var zones []nameable
		for k := range d.Zones {
			zones = append(zones, nameable{d.Zones[k].Name, &d.Zones[k].Names})
		}
		b.checkNames("zone", zones)
	}
	for i := range b.file.Probes {
		probes = append(probes, nameable{b.file.Probes[i].Name, &b.file.Probes[i].Names})
	}
	b.checkNames("bin", bins)
	b.checkNames("probe", probes)
}

// noBin says that there is no bin of a name: what it is called now, or what is meant.
func (b *builder) noBin(name string) string {
	for _, bin := range b.farm.Bins {
		if slices.Contains(bin.Was, name) {
			return fmt.Sprintf("there is no bin %s: it is called %s now", quoted(name), bin.Name)
		}
	}
	return fmt.Sprintf("there is no bin %s: %s", quoted(name), hint(name, namesOf(b.farm.Bins, func(bin farm.Bin) string { return bin.Name })))
}
