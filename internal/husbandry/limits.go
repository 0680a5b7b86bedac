package husbandry

import (
	"cmp"
	"math"
	"slices"

	"binwatchd/internal/farm"
)

// Worms are those of one species in a bin.
type Worms struct {
	farm.Species
	Part float64 // of the bin's worms by mass, 0..1; the parts of a bin add up to 1
}

// WormsOf gives the worms of a bin in the order of its file, with the part of
// each. Species without a known part share equally. A bin that names none but
// has a living zone is taken to hold the first species of the table in force; a
// tub of castings has none.
func WormsOf(f *farm.Farm, bin farm.Bin) []Worms {
	var found []Worms
	sum := 0.0
	for _, share := range bin.Species {
		if s, ok := f.SpeciesByID(share.Species); ok {
			found = append(found, Worms{s, max(0, share.Fraction)})
			sum += max(0, share.Fraction)
		}
	}
	living := func(z farm.Zone) bool { return z.Aim == farm.Living }
	if len(found) == 0 && len(f.Species) > 0 && slices.ContainsFunc(bin.Zones, living) {
		return []Worms{{f.Species[0], 1}}
	}
	for i := range found {
		if sum > 0 {
			found[i].Part /= sum
		} else {
			found[i].Part = 1 / float64(len(found))
		}
	}
	return found
}

// A Side is how far a level may go one way. An infinite limit is never passed.
type Side struct {
	Half float64 // past it more than half of the worms, by mass, are past their thrive band
	Most float64 // past it more than three quarters are
	Harm float64 // past it some species is past its survive band
}

// Limits are both sides of what a zone bears of one quantity.
type Limits struct{ Low, High Side }

// without is no limit at all.
var without = Limits{
	Low:  Side{math.Inf(-1), math.Inf(-1), math.Inf(-1)},
	High: Side{math.Inf(1), math.Inf(1), math.Inf(1)},
}

// Thrive is the band in which at least half of the worms thrive and none is in
// danger.
func (l Limits) Thrive() farm.Band {
	return clipped(farm.Band{Low: l.Low.Half, High: l.High.Half}, l.Survive())
}

// Survive is the band in which no species is in danger. Where the species of a
// bin have none in common, Low lies over High: then every level is too much for
// one of them.
func (l Limits) Survive() farm.Band { return farm.Band{Low: l.Low.Harm, High: l.High.Harm} }

// Bands are the two together; zero where there is no limit on either side.
func (l Limits) Bands() farm.Bands {
	if l == without {
		return farm.Bands{}
	}
	return farm.Bands{Thrive: l.Thrive(), Survive: l.Survive()}
}

// LimitsOf are the limits of bands that hold for everything in a zone; zero
// bands have none.
func LimitsOf(b farm.Bands) Limits {
	if b.IsZero() {
		return without
	}
	return Limits{
		Low:  Side{b.Thrive.Low, b.Thrive.Low, b.Survive.Low},
		High: Side{b.Thrive.High, b.Thrive.High, b.Survive.High},
	}
}

// The parts of a bin's worms past which they count as most of them and as
// nearly all. Choices, no source.
const (
	halfOfThem = 0.5
	mostOfThem = 0.75
)

// WormLimits are what the worms of a bin bear together of temperature, °C, or of
// moisture, % wet basis. Without worms nothing is ever past.
func WormLimits(worms []Worms, q farm.Quantity) Limits {
	l := without
	lows, highs := make([]end, 0, len(worms)), make([]end, 0, len(worms))
	for _, w := range worms {
		b := w.Temperature
		if q == farm.Moisture {
			b = w.Moisture
		}
		l.Low.Harm, l.High.Harm = max(l.Low.Harm, b.Survive.Low), min(l.High.Harm, b.Survive.High)
		lows, highs = append(lows, end{-b.Thrive.Low, w.Part}), append(highs, end{b.Thrive.High, w.Part})
	}
	l.Low.Half, l.Low.Most = -reached(lows, halfOfThem), -reached(lows, mostOfThem)
	l.High.Half, l.High.Most = reached(highs, halfOfThem), reached(highs, mostOfThem)
	return l
}

// An end is where one species stops thriving, and how much of the worms it is.
type end struct{ at, part float64 }

// reached is the lowest end past which more than some part of the worms are
// past theirs.
func reached(ends []end, part float64) float64 {
	const rounding = 1e-9 // thirds do not add up to the bit
	slices.SortStableFunc(ends, func(a, b end) int { return cmp.Compare(a.at, b.at) })
	sum := 0.0
	for _, e := range ends {
		if sum += e.part; sum > part+rounding {
			return e.at
		}
	}
	return math.Inf(1)
}

// MoistureAim is the band that water and bedding aim at, % wet basis: what the
// thrive bands of the worms have in common, the heaviest part first where they
// do not all agree, and always inside what they bear together.
func MoistureAim(worms []Worms) farm.Band {
	l := WormLimits(worms, farm.Moisture)
	aim := l.Thrive()
	if aim.Low == aim.High {
		aim = l.Survive() // most thrive only where others come to harm
	}
	byPart := slices.Clone(worms)
	slices.SortStableFunc(byPart, func(a, b Worms) int { return cmp.Compare(b.Part, a.Part) })
	for _, w := range byPart {
		if o, ok := aim.Overlap(w.Moisture.Thrive); ok && o.Low < o.High {
			aim = o
		}
	}
	return aim
}

// Bands of sifted castings. The moisture of kept castings follows what is
// said of finished compost (40–50 %, from memory) with room for a living
// store; the rest is common practice, no source.
var (
	keepTemp  = bands(2, 25, 0, 32)
	keepMoist = bands(40, 55, 33, 65)
	siftMoist = bands(35, 45, 28, 75)
)

// ZoneBands gives the bands a zone is held to as a whole: its own, else those
// of its aim or of its only species. Zero bands mean: by the mass of its worms
// in a living zone (see [WormLimits]), none at all for the temperature of a
// sifting one. A half that the zone leaves out comes from the default, stretched
// so that thrive stays inside survive.
func ZoneBands(f *farm.Farm, bin farm.Bin, z farm.Zone) (temp, moist farm.Bands) {
	switch z.Aim {
	case farm.Keeping:
		return overruled(z.Bands[farm.Temperature], keepTemp), overruled(z.Bands[farm.Moisture], keepMoist)
	case farm.Sifting:
		return overruled(z.Bands[farm.Temperature], farm.Bands{}), overruled(z.Bands[farm.Moisture], siftMoist)
	}
	worms := WormsOf(f, bin)
	if own := z.Bands[farm.Temperature]; !own.IsZero() {
		temp = overruled(own, WormLimits(worms, farm.Temperature).Bands())
	}
	if own := z.Bands[farm.Moisture]; !own.IsZero() || len(worms) == 1 {
		moist = overruled(own, WormLimits(worms, farm.Moisture).Bands())
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
			temp = WormLimits(worms, farm.Temperature)
		}
		if moistBands.IsZero() {
			moist = WormLimits(worms, farm.Moisture)
		}
	}
	return temp, moist
}

// ShownBands are the bands that a zone's levels are drawn between: those it is judged
// by, and of a sifting zone those that its moisture passes through, though only their
// end is judged. Zero bands mean: none.
func ShownBands(f *farm.Farm, bin farm.Bin, z farm.Zone) (temp, moist farm.Bands) {
	t, m := ZoneLimits(f, bin, z)
	if moist = m.Bands(); z.Aim == farm.Sifting {
		_, moist = ZoneBands(f, bin, z)
	}
	return t.Bands(), moist
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
		t, s := own.Thrive, def.Survive
		own.Survive = farm.Band{Low: min(s.Low, t.Low), High: max(s.High, t.High)}
	case own.Thrive == none:
		own.Thrive = clipped(def.Thrive, own.Survive)
	}
	return own
}

// clipped keeps what of a lies in b, or all of b when nothing does.
func clipped(a, b farm.Band) farm.Band {
	if o, ok := a.Overlap(b); ok {
		return o
	}
	return b
}
