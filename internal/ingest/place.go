package ingest

import (
	"slices"

	"binwatchd/internal/farm"
)

// A place is where a probe is and who is around it, as indexes into the farm;
// -1 stands for none.
type place struct {
	bin, zone  int
	air        bool  // a temperature probe of no zone hangs in the air
	ambient    int   // the probe in the air around its bin
	room       int   // the same, else the only probe that hangs in the air at all
	reference  int   // a temperature probe whose moves this one ought to share
	neighbours []int // other temperature probes, of the same bin where there are any
	twins      []int // other probes of its zone with its quantity
	limits     limits
}

func (p place) zoneName(f *farm.Farm) string { return f.Bins[p.bin].Zones[p.zone].Name }

// living tells whether a zone can heat itself.
func (p place) living(f *farm.Farm) bool {
	return p.bin >= 0 && f.Bins[p.bin].Zones[p.zone].Aim == farm.Living
}

// settle finds every probe's place and pairs the twins.
func (d *Doubter) settle() {
	for i := range d.farm.Probes {
		d.places = append(d.places, d.where(i))
	}
	for i := range d.places {
		pl := &d.places[i]
		pl.limits = limitsOf(d.farm.Probes[i].Measures, pl.air)
		pl.neighbours = d.around(i)
		pl.reference = d.referenceOf(i)
		pl.room = d.roomOf(i)
		for _, j := range pl.twins {
			if i < j {
				d.pairs = append(d.pairs, pair{a: i, b: j})
			}
		}
	}
}

// where finds the first zone that names a probe.
func (d *Doubter) where(i int) place {
	p := d.farm.Probes[i]
	pl := place{bin: -1, zone: -1, ambient: -1, reference: -1}
	for b, bin := range d.farm.Bins {
		for z, zone := range bin.Zones {
			if !slices.Contains(zone.Probes, p.ID) {
				continue
			}
			pl.bin, pl.zone = b, z
			if a, ok := d.index[bin.Ambient]; ok && a != i && d.farm.Probes[a].Measures == farm.Temperature {
				pl.ambient = a
			}
			pl.twins = d.like(i, zone.Probes)
			return pl
		}
	}
	pl.air = p.Measures == farm.Temperature
	return pl
}

// like finds, among some ids, the other probes of the same quantity.
func (d *Doubter) like(i int, ids []string) []int {
	var out []int
	for _, id := range ids {
		if j, ok := d.index[id]; ok && j != i && d.farm.Probes[j].Measures == d.farm.Probes[i].Measures && !slices.Contains(out, j) {
			out = append(out, j)
		}
	}
	return out
}

// around finds the other temperature probes of the bin, else of the farm.
func (d *Doubter) around(i int) []int {
	var near, far []int
	for j, p := range d.farm.Probes {
		if j == i || p.Measures != farm.Temperature {
			continue
		}
		far = append(far, j)
		if d.places[j].bin >= 0 && d.places[j].bin == d.places[i].bin {
			near = append(near, j)
		}
	}
	if len(near) > 0 {
		return near
	}
	return far
}

// referenceOf finds the probe whose moves show that there was something to
// follow: the air around the bin, else the nearest other temperature.
func (d *Doubter) referenceOf(i int) int {
	pl := d.places[i]
	switch {
	case d.farm.Probes[i].Measures != farm.Temperature:
		return -1
	case pl.ambient >= 0:
		return pl.ambient
	case len(pl.neighbours) > 0:
		return pl.neighbours[0]
	}
	return -1
}

// roomOf finds the probe that shares the air in which this one would lie on the
// bench.
func (d *Doubter) roomOf(i int) int {
	pl := d.places[i]
	if pl.ambient >= 0 || pl.bin < 0 {
		return pl.ambient
	}
	only := -1
	for j := range d.places {
		switch {
		case !d.places[j].air:
		case only >= 0:
			return -1
		default:
			only = j
		}
	}
	return only
}

// fresh gives a probe's last believed value when it is not too old at a time.
func (d *Doubter) fresh(i int, at int64) (float64, bool) {
	t := &d.tracks[i]
	every := t.every(d.farm.Probes[i])
	return t.Good, t.GoodAt != 0 && at-t.GoodAt <= 3*every && t.GoodAt-at <= 3*every
}
