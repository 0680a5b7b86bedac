package farm

import (
	"fmt"
	"slices"
)

// Beside writes a level, °C or % wet basis, so that it never looks the same as
// a limit that it is not at: "69.7 %" beside a limit of 70 %. A keeper who reads
// "too dry" beside a number that is inside the band believes neither.
func (u Units) Beside(q Quantity, v float64, limits ...float64) string {
	for digits := -1; digits <= 2; digits++ {
		said := u.digits(q, v, digits)
		if !slices.ContainsFunc(limits, func(limit float64) bool {
			return v != limit && said == u.digits(q, limit, digits)
		}) {
			return said
		}
	}
	return "a hair past " + u.digits(q, v, -1)
}

// digits writes a level with so many decimals; as is usual when n is negative.
func (u Units) digits(q Quantity, v float64, n int) string {
	switch {
	case n < 0 && q == Moisture:
		return u.Moisture(v)
	case n < 0:
		return u.Temperature(v)
	case q == Moisture:
		return fmt.Sprintf("%.*f %%", n, v)
	case u == US:
		return fmt.Sprintf("%.*f °F", n, FahrenheitOf(v))
	}
	return fmt.Sprintf("%.*f °C", n, v)
}

// Say writes a level beside what its zone is held to; v is its middle or an end.
func (l *LevelView) Say(u Units, q Quantity, v float64) string {
	held := []float64{l.Bands.Thrive.Low, l.Bands.Thrive.High, l.Bands.Survive.Low, l.Bands.Survive.High}
	if l.Bands.IsZero() {
		held = nil
	}
	for _, limit := range l.Limits {
		held = append(held, limit.At)
	}
	return u.Beside(q, v, held...)
}
