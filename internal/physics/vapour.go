package physics

import "math"

// SaturationKPa is the vapour pressure over open water (Allen et al. 1998,
// FAO-56 eq. 11).
func SaturationKPa(tempC float64) float64 {
	return 0.6108 * math.Exp(17.27*tempC/(tempC+237.3))
}

// Activity is the vapour pressure over moist organic matter as a part of that
// over open water, by its water ratio: the isotherm of Oswin 1946 with
// constants chosen for peaty stuff (form from memory, constants a choice).
// Nearly 1 for anything a worm would live in, falling steeply below a fifth
// of a kilogram of water per kilogram of dry matter.
func Activity(ratio float64) float64 {
	if ratio <= 0 {
		return 0
	}
	x := 0.12 / ratio
	return 1 / (1 + x*x*math.Sqrt(x)) // the exponent 1/B is 2.5
}

// Ratio turns moisture, % of fresh mass, into kg of water per kg of dry matter.
func Ratio(moisturePct float64) float64 { return moisturePct / (100 - moisturePct) }

// Percent turns kg of water per kg of dry matter into % of fresh mass.
func Percent(ratio float64) float64 { return 100 * ratio / (1 + ratio) }
