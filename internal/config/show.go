package config

import (
	"fmt"
	"io"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"gopkg.in/yaml.v3"
)

// Show writes every value in force as YAML that loads to the same farm. What
// the file left out is there too, with a comment that says where it comes
// from. Of a secret only its source is shown.
func (c *Config) Show(w io.Writer) error {
	if _, err := fmt.Fprintln(w, "# Every value in force. What the file leaves out has a comment saying where it comes from."); err != nil {
		return err
	}
	doc := c.doc
	doc.bins.v = c.binsInForce()
	doc.species = val[[]entry[speciesDoc]]{v: c.speciesInForce(), set: true}
	if len(doc.species.v) == 0 {
		doc.species.set = false
	}
	enc := yaml.NewEncoder(w)
	enc.SetIndent(2)
	if err := enc.Encode(file().write(doc)); err != nil {
		return fmt.Errorf("show configuration: %w", err)
	}
	return enc.Close()
}

// binsInForce copies the bins of the document and fills in the bands that
// zones are judged by.
func (c *Config) binsInForce() []entry[binDoc] {
	bins := append([]entry[binDoc](nil), c.doc.bins.v...)
	for i := range bins {
		zones := append([]entry[zoneDoc](nil), bins[i].v.zones.v...)
		for j := range zones {
			temperature, moisture := husbandry.ZoneBands(&c.Farm, c.Farm.Bins[i], c.Farm.Bins[i].Zones[j])
			origin := "by the aim"
			if zones[j].v.aim.v == farm.Living {
				origin = "by the species"
			}
			fillBands(&zones[j].v.temperature, temperature, origin)
			fillBands(&zones[j].v.moisture, moisture, origin)
		}
		bins[i].v.zones.v = zones
	}
	return bins
}

// fillBands fills in what the zone itself does not give. Zero bands, which
// stand for each species' own, stay out.
func fillBands(d *val[bandsDoc], b farm.Bands, origin string) {
	if b.IsZero() {
		return
	}
	d.or(bandsDoc{}, origin)
	d.v.thrive.or(b.Thrive, origin)
	d.v.survive.or(b.Survive, origin)
}

// speciesInForce is the rows of the species table that bins refer to, whole,
// and the keeper's own.
func (c *Config) speciesInForce() []entry[speciesDoc] {
	wanted := map[string]bool{}
	for _, e := range c.doc.species.v {
		wanted[e.name] = true
	}
	for _, bin := range c.Farm.Bins {
		for _, s := range bin.Species {
			wanted[s.Species] = true
		}
	}
	var rows []entry[speciesDoc]
	for _, s := range c.Farm.Species {
		if wanted[s.ID] {
			rows = append(rows, entry[speciesDoc]{name: s.ID, v: rowOf(s)})
		}
	}
	return rows
}

func rowOf(s farm.Species) speciesDoc {
	d := speciesDoc{
		name:        shown(s.Name),
		temperature: shown(bandsDocOf(s.Temperature)),
		moisture:    shown(bandsDocOf(s.Moisture)),
		cardinal: shown(cardinalDoc{
			min: shown(s.Cardinal.Min), best: shown(s.Cardinal.Best), max: shown(s.Cardinal.Max),
		}),
	}
	if s.Latin != "" {
		d.latin = shown(s.Latin)
	}
	if s.Cocoon != (farm.Cocoon{}) {
		d.cocoon = shown(cocoonDoc{
			base: shown(s.Cocoon.BaseC), degreeDays: shown(s.Cocoon.DegreeDays), hatchlings: shown(s.Cocoon.Hatchlings),
		})
	}
	return d
}

func bandsDocOf(b farm.Bands) bandsDoc {
	return bandsDoc{thrive: shown(b.Thrive), survive: shown(b.Survive)}
}

// shown is a value to be shown.
func shown[V any](v V) val[V] { return val[V]{v: v, set: true} }
