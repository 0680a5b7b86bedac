package husbandry

import (
	"cmp"
	"math"
	"slices"

	"binwatchd/internal/farm"
)

// Where a dry mass comes from, as farm.Advice.DryMassFrom says it.
const (
	Told    = "told"    // by the keeper
	Learned = "learned" // from waterings and the rise they caused
	Guess   = "guess"   // volume times a usual density
)

// A Dry is the dry matter of a zone, kg, with the range it may lie in.
type Dry struct {
	Kg, LowKg, HighKg float64
	From              string // Told, Learned or Guess; "" when nothing is known
}

// dryDensity is dry matter per litre of settled material by a zone's aim, kg/L.
// Dry castings 0.2–0.5 from memory; the fresh density 0.7–0.9 of the Indian
// Fertiliser Control Order is for packed, nearly dry goods. Choices within that.
var dryDensity = map[farm.Aim]Dry{
	farm.Living:  {Kg: 0.18, LowKg: 0.12, HighKg: 0.28},
	farm.Sifting: {Kg: 0.30, LowKg: 0.20, HighKg: 0.45},
	farm.Keeping: {Kg: 0.40, LowKg: 0.25, HighKg: 0.60},
}

// GuessDry guesses the dry matter in volumeL litres of a zone by its aim.
func GuessDry(aim farm.Aim, volumeL float64) Dry {
	if volumeL <= 0 {
		return Dry{}
	}
	d := cmp.Or(dryDensity[aim], dryDensity[farm.Living])
	return Dry{Kg: volumeL * d.Kg, LowKg: volumeL * d.LowKg, HighKg: volumeL * d.HighKg, From: Guess}
}

// DryMass is what is known of a zone's dry matter without learning: what the
// keeper told, else a guess from volumeL litres. toldError is how far a told
// one may be off: a tenth, a choice.
func DryMass(z farm.Zone, volumeL float64) Dry {
	const toldError = 0.1
	if kg := z.DryMassKg; kg > 0 {
		return Dry{Kg: kg, LowKg: kg * (1 - toldError), HighKg: kg * (1 + toldError), From: Told}
	}
	return GuessDry(z.Aim, volumeL)
}

const (
	dosesKept    = 9   // waterings remembered
	dosesTrusted = 3   // waterings before a learned mass is used
	leastRisePts = 1.0 // a smaller rise drowns in a probe's noise
)

// A Dose is one watering and the rise it caused.
type Dose struct {
	Litres float64
	Rise   float64 // kg of water per kg of dry matter
}

// A DoseLearner learns a zone's dry mass from waterings: litres poured over
// the rise in water per kg of dry matter. It remembers the newest nine. The
// zero value has learned nothing.
type DoseLearner struct{ Doses []Dose }

// Pour takes in a watering: litres, and the zone's moisture before and after,
// % wet basis. It tells whether the watering taught anything: one that raised
// the moisture by less than a point does not. The caller leaves out waterings
// with a feed, a turning or a re-seated probe between before and after.
func (l *DoseLearner) Pour(litres, beforePct, afterPct float64) bool {
	rise := DryBasis(afterPct) - DryBasis(beforePct)
	if !(litres > 0) || !(afterPct-beforePct >= leastRisePts) || math.IsInf(litres, 0) {
		return false
	}
	l.Doses = append(l.Doses, Dose{Litres: litres, Rise: rise})
	l.Doses = slices.Delete(l.Doses, 0, max(0, len(l.Doses)-dosesKept))
	return true
}

// Forget drops what was learned: the zone was emptied.
func (l *DoseLearner) Forget() { l.Doses = nil }

// DryMass gives the learned dry matter: the median of litres per rise, each
// watering weighted by its rise, since a small rise is the noisiest, up to the
// middle rise, since a huge one is a jot gone wrong. Its range is the median
// distance from that median, at least a tenth, narrower for more waterings. ok
// is false before the third one, or when they disagree by more than half of
// the value.
func (l *DoseLearner) DryMass() (d Dry, trust float64, ok bool) {
	n := len(l.Doses)
	if n < dosesTrusted {
		return Dry{}, 0, false
	}
	rising := slices.SortedFunc(slices.Values(l.Doses), func(a, b Dose) int { return cmp.Compare(a.Rise, b.Rise) })
	masses := make([]weighed, n)
	for i, dose := range l.Doses {
		masses[i] = weighed{dose.Litres / dose.Rise, min(dose.Rise, rising[n/2].Rise)}
	}
	kg := weightedMedian(masses)
	for i := range masses {
		masses[i].value = math.Abs(masses[i].value - kg)
	}
	off := weightedMedian(masses)
	if off > kg/2 {
		return Dry{}, 0, false
	}
	// 1.4826 makes the median distance a standard deviation, 1.2533 is what a
	// median costs over a mean, 1.2816 the reach of an 80 % interval; 1+3/n makes
	// up for a median distance of few falling short (own simulation).
	spread := max(0.1*kg, off*1.4826*1.2533*1.2816*(1+3/float64(n))/math.Sqrt(float64(n)))
	trust = float64(n) / float64(n+2) * (1 - off/kg)
	return Dry{Kg: kg, LowKg: max(kg-spread, kg/4), HighKg: kg + spread, From: Learned}, trust, true
}

type weighed struct{ value, weight float64 }

// weightedMedian is the value with half of all weight at or below it. It sorts
// its argument, which is not empty.
func weightedMedian(v []weighed) float64 {
	slices.SortStableFunc(v, func(a, b weighed) int { return cmp.Compare(a.value, b.value) })
	total := 0.0
	for _, x := range v {
		total += x.weight
	}
	sum, i := v[0].weight, 0
	for sum < total/2 && i < len(v)-1 {
		i++
		sum += v[i].weight
	}
	return v[i].value
}
