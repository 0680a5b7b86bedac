package config

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// here is where a figure comes from that the keeper gave.
const here = "this farm's configuration"

// buildSpecies lays the keeper's rows over the published table: a known id
// overrules only the parts given, a new one must bring what rules need.
func (b *builder) buildSpecies() {
	b.farm.Species = husbandry.Species()
	for _, e := range b.doc.species.v {
		i := slices.IndexFunc(b.farm.Species, func(s farm.Species) bool { return s.ID == e.name })
		if i < 0 {
			b.needWhole(e)
			b.farm.Species = append(b.farm.Species, farm.Species{ID: e.name, Name: e.name})
			i = len(b.farm.Species) - 1
		}
		b.overrule(&b.farm.Species[i], e)
	}
}

func (b *builder) needWhole(e entry[speciesDoc]) {
	if e.spoilt {
		return
	}
	meant := ""
	if near := nearest(e.name, b.speciesIDs()); near != "" {
		meant = " (did you mean " + near + "?)"
	}
	for _, part := range []struct {
		like string
		set  bool
	}{
		{"temperature: {thrive: 15C..25C, survive: 4C..32C}", e.v.temperature.spoilt || e.v.temperature.v.thrive.present() && e.v.temperature.v.survive.present()},
		{"moisture: {thrive: 70%..85%, survive: 60%..90%}", e.v.moisture.spoilt || e.v.moisture.v.thrive.present() && e.v.moisture.v.survive.present()},
		{"cardinal: {min: 0C, best: 25C, max: 35C}", e.v.cardinal.spoilt || e.v.cardinal.v.min.present() && e.v.cardinal.v.best.present() && e.v.cardinal.v.max.present()},
	} {
		if !part.set {
			b.problem(e.at, "%s is not in the species table%s, so it needs its own, for example %s", quoted(e.name), meant, part.like)
		}
	}
}

func (b *builder) overrule(s *farm.Species, e entry[speciesDoc]) {
	before := *s
	put(&s.Name, e.v.name)
	put(&s.Latin, e.v.latin)
	putBands(&s.Temperature, e.v.temperature.v)
	putBands(&s.Moisture, e.v.moisture.v)
	put(&s.Cardinal.Min, e.v.cardinal.v.min)
	put(&s.Cardinal.Best, e.v.cardinal.v.best)
	put(&s.Cardinal.Max, e.v.cardinal.v.max)
	put(&s.Cocoon.BaseC, e.v.cocoon.v.base)
	put(&s.Cocoon.DegreeDays, e.v.cocoon.v.degreeDays)
	put(&s.Cocoon.Hatchlings, e.v.cocoon.v.hatchlings)
	b.checkSpecies(e, *s)
	s.Sources = append(slices.Clone(s.Sources), ownSources(before, *s)...)
}

func put[V any](into *V, x val[V]) {
	if x.set {
		*into = x.v
	}
}

func putBands(into *farm.Bands, d bandsDoc) {
	put(&into.Thrive, d.thrive)
	put(&into.Survive, d.survive)
}

// checkSpecies checks a row as a whole: half of it may be the table's.
func (b *builder) checkSpecies(e entry[speciesDoc], s farm.Species) {
	if d := e.v.temperature; d.set {
		b.thriveInside(d, s.Temperature)
	}
	if d := e.v.moisture; d.set {
		b.thriveInside(d, s.Moisture)
	}
	c := s.Cardinal
	switch at := e.v.cardinal.at; {
	case !e.v.cardinal.set || c == farm.Cardinal{}:
	case !(c.Min < c.Best && c.Best < c.Max):
		b.problem(at, "cardinal temperatures rise: min, best, max")
	case c.Best <= (c.Min+c.Max)/2:
		b.problem(at, "best lies nearer to max than to min, else the activity curve has no shape (Rosso, Lobry & Flandrois 1993)")
	}
	if e.v.cocoon.set && (s.Cocoon.DegreeDays == 0 || s.Cocoon.Hatchlings == 0) {
		b.problem(e.v.cocoon.at, "cocoons of a species outside the table need base, degree_days and hatchlings")
	}
}

// thriveInside checks that a thrive band lies inside its survive band, where
// both are known.
func (b *builder) thriveInside(d val[bandsDoc], bands farm.Bands) {
	none := farm.Band{}
	switch {
	case !d.v.thrive.present() && !d.v.survive.present():
		b.problem(d.at, "thrive and survive are both missing: give one or both")
	case bands.Thrive == none || bands.Survive == none:
	case !bands.Survive.Contains(bands.Thrive.Low) || !bands.Survive.Contains(bands.Thrive.High):
		at := d.v.thrive.at
		if !d.v.thrive.set {
			at = d.v.survive.at
		}
		b.problem(at, "the thrive band does not lie inside the survive band")
	}
}

// ownSources names the figures in which a row differs from the published one.
func ownSources(before, after farm.Species) []farm.Source {
	var own []farm.Source
	for _, f := range []struct {
		figure  string
		differs bool
	}{
		{"temperature bands", before.Temperature != after.Temperature},
		{"moisture bands", before.Moisture != after.Moisture},
		{"activity curve", before.Cardinal != after.Cardinal},
		{"cocoons", before.Cocoon != after.Cocoon},
	} {
		if f.differs {
			own = append(own, farm.Source{Figure: f.figure, Says: "the keeper's own", Where: here})
		}
	}
	return own
}

// buildFeeds lays the keeper's feeds over the table.
func (b *builder) buildFeeds() {
	b.farm.Feeds = husbandry.Feeds()
	for _, e := range b.doc.feeds.v {
		f := farm.Feed{Kind: e.name, Days: e.v.Hours() / 24}
		i := slices.IndexFunc(b.farm.Feeds, func(f farm.Feed) bool { return f.Kind == e.name })
		if i >= 0 {
			b.farm.Feeds[i] = f
		} else {
			b.farm.Feeds = append(b.farm.Feeds, f)
		}
	}
	b.doc.feeds.or(nil, byDefault)
	b.doc.feeds.v = nil
	for _, f := range b.farm.Feeds {
		lasts := time.Duration(f.Days * float64(day))
		b.doc.feeds.v = append(b.doc.feeds.v, entry[time.Duration]{name: f.Kind, v: lasts})
	}
}

func (b *builder) speciesIDs() []string {
	ids := make([]string, len(b.farm.Species))
	for i, s := range b.farm.Species {
		ids[i] = s.ID
	}
	return ids
}
