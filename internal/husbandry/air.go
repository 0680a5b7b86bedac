package husbandry

import "math"

// SaturationVapour is the vapour pressure of saturated air, kPa: FAO-56 (Allen
// et al. 1998) eq. 11.
func SaturationVapour(tempC float64) float64 {
	return 0.6108 * math.Exp(17.27*tempC/(tempC+237.3))
}

// MeanSaturationVapour is the day's mean of it from the day's extremes, kPa:
// FAO-56 eq. 12. The mean of the ends, not the end of the mean.
func MeanSaturationVapour(maxC, minC float64) float64 {
	return (SaturationVapour(maxC) + SaturationVapour(minC)) / 2
}

// ActualVapour is the vapour pressure of a day's air, kPa, from the extremes
// of temperature and of relative humidity, %: FAO-56 eq. 17.
func ActualVapour(maxC, minC, maxRH, minRH float64) float64 {
	return (SaturationVapour(minC)*maxRH + SaturationVapour(maxC)*minRH) / 200
}

// VapourDeficit is how much more vapour the day's air would hold, kPa: the
// pull that dries a bin.
func VapourDeficit(maxC, minC, maxRH, minRH float64) float64 {
	return MeanSaturationVapour(maxC, minC) - ActualVapour(maxC, minC, maxRH, minRH)
}
