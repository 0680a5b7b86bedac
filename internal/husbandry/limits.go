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
// each. Species without a known part share equally.
func WormsOf(f *farm.Farm, bin farm.Bin) []Worms {
	var found []Worms
	sum := 0.0
	for _, share := range bin.Species {
		if s, ok := f.SpeciesByID(share.Species); ok {
			found = append(found, Worms{s, max(0, share.Fraction)})
			sum += max(0, share.Fraction)
		}
	}
	if len(found) == 0 && len(f.Species) > 0 && hasLiving(bin) {
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

// TempLimits are what the worms of a bin bear together, °C; MoistLimits the
// same in % wet basis. Without worms nothing is ever past.
func TempLimits(worms []Worms) Limits { return together(worms, farm.Temperature) }

// MoistLimits: see [TempLimits].
func MoistLimits(worms []Worms) Limits { return together(worms, farm.Moisture) }

// The parts of a bin's worms past which they count as most of them and as
// nearly all. Choices, no source.
const (
	halfOfThem = 0.5
	mostOfThem = 0.75
)

func together(worms []Worms, q farm.Quantity) Limits {
	if len(worms) == 0 {
		return without
	}
	l := without
	l.Low.Harm, l.High.Harm = math.Inf(-1), math.Inf(1)
	lows, highs := make([]end, 0, len(worms)), make([]end, 0, len(worms))
	for _, w := range worms {
		b := w.bands(q)
		l.Low.Harm, l.High.Harm = max(l.Low.Harm, b.Survive.Low), min(l.High.Harm, b.Survive.High)
		lows, highs = append(lows, end{-b.Thrive.Low, w.Part}), append(highs, end{b.Thrive.High, w.Part})
	}
	l.Low.Half, l.Low.Most = -reached(lows, halfOfThem), -reached(lows, mostOfThem)
	l.High.Half, l.High.Most = reached(highs, halfOfThem), reached(highs, mostOfThem)
	return l
}

// bands of a species for one quantity.
func (w Worms) bands(q farm.Quantity) farm.Bands {
	if q == farm.Moisture {
		return w.Moisture
	}
	return w.Temperature
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
	l := MoistLimits(worms)
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
