package config

import (
	"reflect"
	"slices"
	"strings"
	"unicode"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// here is where a figure comes from that the keeper gave.
const here = "this farm's configuration"

// buildSpecies lays the keeper's rows over the published table: a known id
// overrules only the parts given, a new one must bring what rules need.
func (b *builder) buildSpecies() {
	b.farm.Species = husbandry.Species()
	for i := range b.file.Species {
		e := &b.file.Species[i]
		at := slices.IndexFunc(b.farm.Species, func(s farm.Species) bool { return s.ID == e.ID })
		if at < 0 {
			b.needWhole(e)
			b.farm.Species = append(b.farm.Species, farm.Species{ID: e.ID, Name: e.ID})
			at = len(b.farm.Species) - 1
		}
		s := &b.farm.Species[at]
		before := *s
		b.marks.fill(reflect.ValueOf(s).Elem(), reflect.ValueOf(e).Elem(), here)
		b.checkSpecies(e, *s)
		s.Sources = append(slices.Clone(s.Sources), ownSources(before, *s)...)
	}
}

func (b *builder) needWhole(e *farm.Species) {
	if b.spoilt(e) {
		return
	}
	meant := ""
	if near := nearest(e.ID, b.speciesIDs()); near != "" {
		meant = " (did you mean " + near + "?)"
	}
	need := func(like string, section any, parts ...any) {
		b.refuse(!b.spoilt(section) && b.count(parts...) < len(parts), e,
			"%s is not in the species table%s, so it needs its own, for example %s", quoted(e.ID), meant, like)
	}
	need("temperature: {thrive: 15C..25C, survive: 4C..32C}", &e.Temperature, &e.Temperature.Thrive, &e.Temperature.Survive)
	need("moisture: {thrive: 70%..85%, survive: 60%..90%}", &e.Moisture, &e.Moisture.Thrive, &e.Moisture.Survive)
	need("cardinal: {min: 0C, best: 25C, max: 35C}", &e.Cardinal, &e.Cardinal.Min, &e.Cardinal.Best, &e.Cardinal.Max)
}

// checkSpecies checks a row as a whole: half of it may be the table's.
func (b *builder) checkSpecies(e *farm.Species, s farm.Species) {
	b.thriveInside(&e.Temperature, s.Temperature)
	b.thriveInside(&e.Moisture, s.Moisture)
	c := s.Cardinal
	switch at := b.at(&e.Cardinal); {
	case !b.set(&e.Cardinal) || c == farm.Cardinal{}:
	case !(c.Min < c.Best && c.Best < c.Max):
		b.problem(at, "cardinal temperatures rise: min, best, max")
	case c.Best <= (c.Min+c.Max)/2:
		b.problem(at, "best lies nearer to max than to min, else the activity curve has no shape (Rosso, Lobry & Flandrois 1993)")
	}
	b.refuse(b.set(&e.Cocoon) && (s.Cocoon.DegreeDays == 0 || s.Cocoon.Hatchlings == 0), &e.Cocoon,
		"cocoons of a species outside the table need base, degree_days and hatchlings")
}

// thriveInside checks that a thrive band lies inside its survive band, where
// both are known. d is what the file gives, bands what is in force.
func (b *builder) thriveInside(d *farm.Bands, bands farm.Bands) {
	none := farm.Band{}
	switch {
	case !b.set(d):
	case !b.present(&d.Thrive) && !b.present(&d.Survive):
		b.problem(b.at(d), "thrive and survive are both missing: give one or both")
	case bands.Thrive == none || bands.Survive == none:
	case !bands.Survive.Contains(bands.Thrive.Low) || !bands.Survive.Contains(bands.Thrive.High):
		at := b.at(&d.Thrive)
		if !b.set(&d.Thrive) {
			at = b.at(&d.Survive)
		}
		b.problem(at, "the thrive band does not lie inside the survive band")
	}
}

// ownSources names the figures in which a row differs from the published one.
func ownSources(before, after farm.Species) (own []farm.Source) {
	name := func(figure string, differs bool) {
		if differs {
			own = append(own, farm.Source{Figure: figure, Says: "the keeper's own", Where: here})
		}
	}
	name("temperature bands", before.Temperature != after.Temperature)
	name("moisture bands", before.Moisture != after.Moisture)
	name("activity curve", before.Cardinal != after.Cardinal)
	name("cocoons", before.Cocoon != after.Cocoon)
	return own
}

// buildFeeds lays the keeper's feeds over the table. The file then has all of
// them, for Show.
func (b *builder) buildFeeds() {
	b.farm.Feeds = husbandry.Feeds()
	for _, f := range b.file.Feeds {
		i := slices.IndexFunc(b.farm.Feeds, func(g farm.Feed) bool { return g.Kind == f.Kind })
		if i >= 0 {
			b.farm.Feeds[i] = f
		} else {
			b.farm.Feeds = append(b.farm.Feeds, f)
		}
	}
	or(b.marks, &b.file.Feeds, nil, byDefault)
	b.file.Feeds = b.farm.Feeds
}

// buildVessels takes over the keeper's own measures. A name that is a unit already
// would change what old jots mean.
func (b *builder) buildVessels() {
	b.farm.Vessels = b.file.Vessels
	for i := range b.file.Vessels {
		v := &b.file.Vessels[i]
		_, err := parseAmount("1 " + v.Name)
		b.refuse(err == nil, v, "%s is a unit already; give the measure a name of its own", quoted(v.Name))
		b.refuse(strings.ContainsFunc(v.Name, func(r rune) bool { return !unicode.IsLetter(r) }), v, "the name of a measure is one word of letters, such as bucket")
	}
}

func (b *builder) speciesIDs() []string {
	return namesOf(b.farm.Species, func(s farm.Species) string { return s.ID })
}

// inForce fills into the file, for Show, what it leaves to tables: the bands that
// zones are judged by, and the rows of the species table that bins refer to or
// that the keeper has changed, whole.
func (b *builder) inForce() {
	for i, bin := range b.farm.Bins {
		for j, zone := range bin.Zones {
			temperature, moisture := husbandry.ZoneBands(&b.farm, bin, zone)
			origin := "by the aim"
			if zone.Aim == farm.Living {
				origin = "by the species"
			}
			z := &b.file.Bins[i].Zones[j]
			b.fillBands(&z.Temperature, temperature, origin)
			b.fillBands(&z.Moisture, moisture, origin)
		}
	}
	wanted := map[string]bool{}
	for _, s := range b.file.Species {
		wanted[s.ID] = true
	}
	for _, bin := range b.farm.Bins {
		for _, s := range bin.Species {
			wanted[s.Species] = true
		}
	}
	rows := slices.DeleteFunc(slices.Clone(b.farm.Species), func(s farm.Species) bool { return !wanted[s.ID] })
	for i := range rows {
		b.marks.all(reflect.ValueOf(&rows[i]).Elem())
	}
	if b.file.Species = rows; len(rows) > 0 {
		b.marks[&b.file.Species] = mark{}
	}
}

// fillBands fills in what the zone itself does not give. Zero bands, which
// stand for each species' own, stay out.
func (b *builder) fillBands(d *farm.Bands, bands farm.Bands, origin string) {
	if !bands.IsZero() {
		or(b.marks, d, farm.Bands{}, origin)
		or(b.marks, &d.Thrive, bands.Thrive, origin)
		or(b.marks, &d.Survive, bands.Survive, origin)
	}
}
