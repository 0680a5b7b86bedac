package husbandry

import (
	"math"

	"binwatchd/internal/farm"
)

// Word says how a species does at a temperature, °C (thriving, slowed, resting
// or in danger) or at a moisture, % wet basis (thriving, too dry, too wet or in
// danger).
func Word(s farm.Species, q farm.Quantity, v float64) farm.Wellbeing {
	b, below, above := s.Temperature, farm.Resting, farm.Slowed
	if q == farm.Moisture {
		b, below, above = s.Moisture, farm.Parched, farm.Soaked
	}
	switch {
	case !b.Survive.Contains(v):
		return farm.InDanger
	case v > b.Thrive.High:
		return above
	case v < b.Thrive.Low:
		return below
	}
	return farm.Thriving
}

// CTMI is the cardinal temperature model with inflection, a rate from 0 to 1
// that is 0 at and beyond c.Min and c.Max and 1 at c.Best: Rosso, Lobry &
// Flandrois 1993, J Theor Biol 162:447–463. The model holds for c.Best over
// half-way between c.Min and c.Max; a best below that is moved up to it, and
// cardinals out of order give 0.
func CTMI(tempC float64, c farm.Cardinal) float64 {
	if !(c.Min < tempC && tempC < c.Max) {
		return 0
	}
	best := max(c.Best, (c.Min+c.Max)/2)
	above, below := tempC-c.Max, tempC-c.Min
	reach := best - c.Min
	denominator := reach * (reach*(tempC-best) - (best-c.Max)*(best+c.Min-2*tempC))
	if denominator == 0 {
		return 0
	}
	return min(1, max(0, above*below*below/denominator))
}

// Activity is how busy a species is, from 0 to 1: the cardinal-temperature
// curve times a factor for moisture. No published curve of intake against
// temperature or moisture was found; both scalings are choices. NaN moisture
// means not known and counts as good.
func Activity(s farm.Species, tempC, moisturePct float64) float64 {
	return CTMI(tempC, s.Cardinal) * moistureFactor(s.Moisture, moisturePct)
}

// moistureFactor is 1 inside thrive and falls in a straight line, a half at
// the survive limit, to 0 as far again beyond it. A choice, no source.
func moistureFactor(b farm.Bands, pct float64) float64 {
	if math.IsNaN(pct) || b.Thrive.Contains(pct) {
		return 1
	}
	past, room := b.Thrive.Low-pct, b.Thrive.Low-b.Survive.Low
	if pct > b.Thrive.High {
		past, room = pct-b.Thrive.High, b.Survive.High-b.Thrive.High
	}
	if room <= 0 {
		return 0
	}
	return max(0, 1-past/(2*room))
}

// BinActivity is the activity of a bin's worms together, each species
// weighted by its part. It is 0 for a bin without worms.
func BinActivity(f *farm.Farm, bin farm.Bin, tempC, moisturePct float64) float64 {
	sum := 0.0
	for _, w := range WormsOf(f, bin) {
		sum += w.Part * Activity(w.Species, tempC, moisturePct)
	}
	return sum
}

// HatchRate is the part of a cocoon's development done in a day at a steady
// temperature: day-degrees above the base over those needed. Above the upper
// end of thrive it grows no further, and past the survive band on the hot side
// nothing hatches; both are choices, no source.
func HatchRate(s farm.Species, tempC float64) float64 {
	if !(s.Cocoon.DegreeDays > 0) || !(tempC <= s.Temperature.Survive.High) {
		return 0
	}
	ceiling := max(s.Temperature.Thrive.High, s.Cardinal.Best)
	return max(0, min(tempC, ceiling)-s.Cocoon.BaseC) / s.Cocoon.DegreeDays
}

// HatchDueIn is in how many days cocoons will be due that have done part of
// their development, at a steady temperature: rate summation, an event is due
// when Σ r(T)·dt reaches 1. It is 0 when they are due and +Inf when it is too
// cold to go on.
func HatchDueIn(s farm.Species, part, tempC float64) float64 {
	return daysFor(1-part, HatchRate(s, tempC))
}

// daysFor is in how many days so much more is done at a rate a day: 0 where
// nothing is left to do, +Inf where nothing goes on.
func daysFor(left, rate float64) float64 {
	switch {
	case left <= 0:
		return 0
	case rate <= 0:
		return math.Inf(1)
	}
	return left / rate
}
