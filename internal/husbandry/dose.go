package husbandry

import (
	"cmp"
	"math"
	"slices"
)

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
	if len(l.Doses) == dosesKept {
		l.Doses = slices.Delete(l.Doses, 0, 1)
	}
	l.Doses = append(l.Doses, Dose{Litres: litres, Rise: rise})
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
	masses := make([]weighed, n)
	for i, dose := range l.Doses {
		masses[i] = weighed{dose.Litres / dose.Rise, min(dose.Rise, l.middleRise())}
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

func (l *DoseLearner) middleRise() float64 {
	rises := make([]float64, len(l.Doses))
	for i, d := range l.Doses {
		rises[i] = d.Rise
	}
	slices.Sort(rises)
	return rises[len(rises)/2]
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
