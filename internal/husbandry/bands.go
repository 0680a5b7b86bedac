package husbandry

import "binwatchd/internal/farm"

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
	for _, w := range WormsOf(f, bin) {
		found = append(found, w.Species)
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

// ZoneBands gives the bands a zone is held to as a whole: its own, else those
// of its aim or of its only species. Zero bands mean: by the mass of its worms
// in a living zone (see [TempLimits], [MoistLimits]), none at all for the
// temperature of a sifting one. A half that the zone leaves out comes from the default, stretched so
// that thrive stays inside survive.
func ZoneBands(f *farm.Farm, bin farm.Bin, z farm.Zone) (temp, moist farm.Bands) {
	switch z.Aim {
	case farm.Keeping:
		return overruled(z.Bands[farm.Temperature], keepTemp), overruled(z.Bands[farm.Moisture], keepMoist)
	case farm.Sifting:
		return overruled(z.Bands[farm.Temperature], farm.Bands{}), overruled(z.Bands[farm.Moisture], siftMoist)
	}
	worms := WormsOf(f, bin)
	if own := z.Bands[farm.Temperature]; !own.IsZero() {
		temp = overruled(own, TempLimits(worms).Bands())
	}
	if own := z.Bands[farm.Moisture]; !own.IsZero() || len(worms) == 1 {
		moist = overruled(own, MoistLimits(worms).Bands())
	}
	return temp, moist
}

// ZoneLimits gives the limits a zone is judged by, from its bands or from its
// worms. Of a sifting zone the moisture is meant to fall: only its end is a
// limit.
func ZoneLimits(f *farm.Farm, bin farm.Bin, z farm.Zone) (temp, moist Limits) {
	tempBands, moistBands := ZoneBands(f, bin, z)
	temp, moist = LimitsOf(tempBands), LimitsOf(moistBands)
	switch worms := WormsOf(f, bin); z.Aim {
	case farm.Sifting:
		harm := moist.Low.Harm
		moist = without
		moist.Low.Harm = harm
	case farm.Living:
		if tempBands.IsZero() {
			temp = TempLimits(worms)
		}
		if moistBands.IsZero() {
			moist = MoistLimits(worms)
		}
	}
	return temp, moist
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
