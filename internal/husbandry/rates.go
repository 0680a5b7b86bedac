package husbandry

import "math"

const (
	boltzmann = 8.617333262e-5 // eV/K, CODATA 2018
	freezing  = 273.15         // K
)

// Q10 is the factor by which a rate grows in 10 K, from two rates:
// (r2/r1)^(10/(T2−T1)).
func Q10(rate1, tempC1, rate2, tempC2 float64) float64 {
	return math.Pow(rate2/rate1, 10/(tempC2-tempC1))
}

// Arrhenius is the ratio of the rate at tempC2 to that at tempC1 for an
// activation energy in eV. Earthworm upkeep: 0.25 eV (Meehan 2006, in Johnston
// et al. 2014).
func Arrhenius(energyEV, tempC1, tempC2 float64) float64 {
	return math.Exp(energyEV / boltzmann * (1/(tempC1+freezing) - 1/(tempC2+freezing)))
}

// DegreeDays is the mean day temperature above a base, K·d, never negative; in
// the units of the arguments.
func DegreeDays(mean, base float64) float64 { return max(0, mean-base) }
