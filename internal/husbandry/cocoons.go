package husbandry

import (
	"math"

	"binwatchd/internal/farm"
)

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
	left, rate := 1-part, HatchRate(s, tempC)
	switch {
	case left <= 0:
		return 0
	case rate <= 0:
		return math.Inf(1)
	}
	return left / rate
}
