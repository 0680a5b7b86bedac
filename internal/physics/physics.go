// Package physics is the nature behind the invented farms of packages demo
// and scenariotest: weather and rooms (climate.go), heaps of worm-worked matter
// (heap.go) and the probes stuck into them (gauge.go). This file holds chance
// and the water in air and matter.
//
// It is deliberately not the model the program fits. Where trend and
// husbandry speak of a first-order approach and a falling rate of drying,
// here two layers exchange heat and water, microbes grow on what they are fed
// and vapour leaves through a crust, so that a forecast which only works on
// its own assumptions is found out.
//
// It keeps no clock and draws no random number that is not a function of a
// seed and a time: the same seed gives the same farm on every run. It imports
// nothing of the project. Who calls it: demo and scenariotest, never the daemon.
//
// Units: °C, kPa, kg, m², W, J, seconds; moisture is water as a percentage of
// fresh mass, and a water ratio is kg of water per kg of dry matter.
package physics

import (
	"math"
	"time"
)

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

// Dice is one stream of chance. Every throw is a function of the dice and an
// index, not of how many throws came before, so weather and noise at a moment
// can be asked for in any order.
type Dice uint64

// Named gives the dice of one purpose, independent of those of other names.
func (d Dice) Named(purpose string) Dice {
	h := uint64(d)
	for _, c := range []byte(purpose) {
		h = mix(h ^ uint64(c))
	}
	return Dice(h)
}

// Uniform is the throw number i, evenly spread over [0, 1).
func (d Dice) Uniform(i int64) float64 {
	return float64(mix(uint64(d)+mix(uint64(i)))>>11) / (1 << 53)
}

// Normal is the throw number i, normally spread about 0 with deviation 1
// (Box & Muller 1958, Ann Math Stat 29:610–611).
func (d Dice) Normal(i int64) float64 {
	r := math.Sqrt(-2 * math.Log(1-d.Uniform(2*i)))
	return r * math.Cos(2*math.Pi*d.Uniform(2*i+1))
}

// Between is the throw number i, evenly spread from low to high.
func (d Dice) Between(i int64, low, high float64) float64 {
	return low + (high-low)*d.Uniform(i)
}

// Smooth is a wandering value: normal throws at knots every so often with a
// smooth way from one to the next. Its mean is 0 and its deviation 1 at every
// moment, knot or not.
func (d Dice) Smooth(t time.Time, every time.Duration) float64 {
	i, part := knot(t, every)
	w := part * part * (3 - 2*part)
	v := (1-w)*d.Normal(i) + w*d.Normal(i+1)
	return v / math.Sqrt(w*w+(1-w)*(1-w))
}

// Stair is a value that stands for a while and then jumps: a normal throw for
// each stretch, the stretches between half and one and a half times every.
func (d Dice) Stair(t time.Time, every time.Duration) float64 {
	i, part := knot(t, every)
	if part < d.Between(2*i+1, 0, 0.5) {
		i--
	}
	return d.Normal(i)
}

// knot counts whole stretches since 1970 and the part of the running one.
func knot(t time.Time, every time.Duration) (i int64, part float64) {
	x := float64(t.UnixMilli()) / float64(every.Milliseconds())
	f := math.Floor(x)
	return int64(f), x - f
}

// mix scatters the bits of x: the finaliser of SplitMix64 (Steele, Lea & Flood
// 2014, OOPSLA, doi:10.1145/2660193.2660195).
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}
