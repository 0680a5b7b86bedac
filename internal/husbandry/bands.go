package husbandry

import (
	"math"

	"binwatchd/internal/farm"
)

// Bands of sifted castings. The moisture of kept castings follows what is
// said of finished compost (40–50 %, from memory) with room for a living
// store; the rest is common practice, no source.
var (
	keepTemp  = bands(2, 25, 0, 32)
	keepMoist = bands(40, 55, 33, 65)
	siftMoist = bands(35, 45, 28, 75)
)

// SpeciesOf gives the worms of a bin in the order of its file. A bin that
// names none but has a living zone is taken to hold the first species of the
// table in force; a tub of castings has none.
func SpeciesOf(f *farm.Farm, bin farm.Bin) []farm.Species {
	var found []farm.Species
	for _, share := range bin.Species {
		if s, ok := f.SpeciesByID(share.Species); ok {
			found = append(found, s)
		}
	}
	if len(found) == 0 && len(f.Species) > 0 && hasLiving(bin) {
		found = f.Species[:1:1]
	}
	return found
}

func hasLiving(bin farm.Bin) bool {
	for _, z := range bin.Zones {
		if z.Aim == farm.Living {
			return true
		}
	}
	return false
}

// ZoneBands gives the bands a zone is held to: its own, else those of its aim
// and species. Zero temperature bands mean: per species in a living zone (see
// [TempLimits]), none at all in a sifting one. A half that the zone leaves
// out comes from the default, stretched so that thrive stays inside survive.
func ZoneBands(f *farm.Farm, bin farm.Bin, z farm.Zone) (temp, moist farm.Bands) {
	switch z.Aim {
	case farm.Keeping:
		return overruled(z.Temperature, keepTemp), overruled(z.Moisture, keepMoist)
	case farm.Sifting:
		return overruled(z.Temperature, farm.Bands{}), overruled(z.Moisture, siftMoist)
	}
	worms := SpeciesOf(f, bin)
	if !z.Temperature.IsZero() {
		coldNow, coldSoon, hotToday, hotNow := TempLimits(worms)
		temp = overruled(z.Temperature, bands(coldSoon, hotToday, coldNow, hotNow))
	}
	return temp, overruled(z.Moisture, sharedMoisture(worms))
}

// overruled lets own replace the default, half by half.
func overruled(own, def farm.Bands) farm.Bands {
	none := farm.Band{}
	switch {
	case own.IsZero():
		return def
	case own.Survive == none && def.Survive == none:
		own.Survive = own.Thrive
	case own.Thrive == none && def.Thrive == none:
		own.Thrive = own.Survive
	case own.Survive == none:
		own.Survive = hull(def.Survive, own.Thrive)
	case own.Thrive == none:
		own.Thrive = clipped(def.Thrive, own.Survive)
	}
	return own
}

func hull(a, b farm.Band) farm.Band {
	return farm.Band{Low: min(a.Low, b.Low), High: max(a.High, b.High)}
}

// clipped keeps what of a lies in b, or all of b when nothing does.
func clipped(a, b farm.Band) farm.Band {
	if o, ok := a.Overlap(b); ok {
		return o
	}
	return b
}

// sharedMoisture is the overlap of the species' bands. Where the thrive bands
// share nothing both bands are the first species', so that thrive stays
// inside survive.
func sharedMoisture(worms []farm.Species) farm.Bands {
	if len(worms) == 0 {
		return red().Moisture
	}
	shared, ok := worms[0].Moisture, true
	for _, s := range worms[1:] {
		if shared.Thrive, ok = shared.Thrive.Overlap(s.Moisture.Thrive); !ok {
			return worms[0].Moisture
		}
		if shared.Survive, ok = shared.Survive.Overlap(s.Moisture.Survive); !ok {
			return worms[0].Moisture
		}
	}
	return shared
}

// TempLimits gives the limits of a bin of one or more species, °C. Below
// coldSoon or above hotToday every species is past its thrive band; below
// coldNow or above hotNow some species is past its survive band. Without
// species nothing is ever past: the limits are infinite.
func TempLimits(species []farm.Species) (coldNow, coldSoon, hotToday, hotNow float64) {
	if len(species) == 0 {
		return math.Inf(-1), math.Inf(-1), math.Inf(1), math.Inf(1)
	}
	first := species[0].Temperature
	coldNow, coldSoon = first.Survive.Low, first.Thrive.Low
	hotToday, hotNow = first.Thrive.High, first.Survive.High
	for _, s := range species[1:] {
		coldNow = max(coldNow, s.Temperature.Survive.Low)
		coldSoon = min(coldSoon, s.Temperature.Thrive.Low)
		hotToday = max(hotToday, s.Temperature.Thrive.High)
		hotNow = min(hotNow, s.Temperature.Survive.High)
	}
	return coldNow, coldSoon, hotToday, hotNow
}
