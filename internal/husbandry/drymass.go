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
	// Choices, on simulated bins.
	dosesKept    = 9   // waterings remembered
	dosesTrusted = 3   // waterings before a learned mass is used
	leastRisePts = 1.0 // a smaller rise drowns in a probe's noise

	// A settled rise is off by doseNoisePts points of % from one watering to the next,
	// and all of a zone's by a factor of exp(pocketSD) alike, for its probe sees one
	// pocket of it and is calibrated as well as it is: standard deviations. Fitted to
	// simulated bins (scenariotest.Soaking); others were held out.
	doseNoisePts = 0.85
	pocketSD     = 0.2

	// mostDoubt is the relative standard error past which waterings disagree too much
	// to say anything. A choice.
	mostDoubt = 0.4

	// reach80 is how many standard deviations an 80 % interval reaches, Φ⁻¹(0.9).
	reach80 = 1.2816
)

// A Dose is one watering and the rise it caused.
type Dose struct {
	Litres  float64
	Rise    float64 // kg of water per kg of dry matter
	FromPct float64 // moisture before it, % wet basis
}

// pts is what one point of % is at the moisture of a dose, kg of water per kg of dry
// matter: d(M/(1−M))/dM.
func (d Dose) pts() float64 { w := DryBasis(d.FromPct); return (1 + w) * (1 + w) / 100 }

// A DoseLearner learns a zone's dry mass from waterings: litres poured and the
// rise in water per kg of dry matter. It remembers the newest nine. The zero value
// has learned nothing.
type DoseLearner struct{ Doses []Dose }

// Pour takes in a watering: litres, and the zone's moisture before and after, once
// it has settled, % wet basis. It tells whether the watering taught anything: one
// that raised the moisture by less than a point does not. The caller leaves out
// waterings that something else disturbed.
func (l *DoseLearner) Pour(litres, beforePct, afterPct float64) bool {
	rise := DryBasis(afterPct) - DryBasis(beforePct)
	if !(litres > 0) || !(afterPct-beforePct >= leastRisePts) || math.IsInf(litres, 0) {
		return false
	}
	l.Doses = append(l.Doses, Dose{Litres: litres, Rise: rise, FromPct: beforePct})
	l.Doses = slices.Delete(l.Doses, 0, max(0, len(l.Doses)-dosesKept))
	return true
}

// Forget drops what was learned: the zone was emptied.
func (l *DoseLearner) Forget() { l.Doses = nil }

// DryMass gives the learned dry matter with its 80 % range. ok is false before the
// third watering, or when they disagree.
//
// Litres are known and rises are noisy, so it is the rise that is fitted, as a line
// through nought over the litres: its slope is one over the mass. A ratio of litres to
// rise would run away where a rise is small. The fit is Huber's (1964, Ann Math Stat
// 35:73–101): least squares in which one gone wrong pulls no harder than one that is
// 1.345 standard deviations off, begun at the weighted median of the slopes.
func (l *DoseLearner) DryMass() (d Dry, ok bool) {
	if len(l.Doses) < dosesTrusted {
		return Dry{}, false
	}
	slopes := make([]weighed, len(l.Doses))
	for i, dose := range l.Doses {
		slopes[i] = weighed{dose.Rise / dose.Litres, dose.Litres / dose.pts()}
	}
	slope := weightedMedian(slopes)
	noise := l.noise(slope)
	known := 0.0
	for range huberRounds {
		slope, known = l.refit(slope, noise)
	}
	doubt := noise / math.Sqrt(known) / slope
	if !(doubt <= mostDoubt) {
		return Dry{}, false
	}
	return Dry{Kg: 1 / slope, From: Learned}.spread(math.Hypot(doubt, pocketSD)), true
}

const (
	huberAt     = 1.345 // 95 % of the efficiency of least squares where nothing goes wrong
	huberRounds = 10
)

// noise is how far the rises scatter about a slope, points: what is usual, or
// more where they do.
func (l *DoseLearner) noise(slope float64) float64 {
	off := make([]weighed, len(l.Doses))
	for i, d := range l.Doses {
		off[i] = weighed{math.Abs(d.Rise-slope*d.Litres) / d.pts(), 1}
	}
	return max(doseNoisePts, 1.4826*weightedMedian(off)) // the factor makes a median distance a standard deviation
}

// refit is one round of the fit, and what is then known of the slope: the sum of
// the weights.
func (l *DoseLearner) refit(slope, noise float64) (better, known float64) {
	sum := 0.0
	for _, d := range l.Doses {
		off := math.Abs(d.Rise-slope*d.Litres) / d.pts() / noise
		weight := huberAt / max(off, huberAt) / (d.pts() * d.pts())
		sum += weight * d.Rise * d.Litres
		known += weight * d.Litres * d.Litres
	}
	return sum / known, known
}

// spread gives a mass its 80 % range from the standard deviation of its logarithm.
func (d Dry) spread(sd float64) Dry {
	by := math.Exp(reach80 * sd)
	d.LowKg, d.HighKg = d.Kg/by, d.Kg*by
	return d
}

// sd is the standard deviation of a mass's logarithm, from its range.
func (d Dry) sd() float64 { return math.Log(d.HighKg/d.LowKg) / (2 * reach80) }

// With puts what waterings taught together with what was thought before them, each
// weighing by how well it is known: the mean of two normal logarithms by precision
// (Gelman et al., Bayesian Data Analysis, ch. 2, from memory).
func (d Dry) With(before Dry) Dry {
	if d.Kg <= 0 || before.LowKg <= 0 {
		return d
	}
	a, b := 1/(d.sd()*d.sd()), 1/(before.sd()*before.sd())
	d.Kg = math.Exp((a*math.Log(d.Kg) + b*math.Log(before.Kg)) / (a + b))
	return d.spread(1 / math.Sqrt(a+b))
}

// How many standard deviations lie between a mass that was told and what waterings
// teach: from doubtful on either may be right, and from contradicted on the told one
// hardly is. What a probe that sits in an odd pocket or is calibrated too steep teaches
// is off by a fifth however many waterings there are, so a test that finds out more
// blames more right ones: from 1.2 on it would be a fifth of them. Chosen on simulated
// bins (scenariotest.Soaking).
const (
	doubtful     = 1.6
	contradicted = 2.2
)

// Against is what a told mass comes to beside what waterings teach: itself where the two
// agree, both where it is doubtful, from the lower end of the one to the upper of the
// other, and what was learned where it is contradicted.
func (d Dry) Against(learned Dry) Dry {
	switch off := math.Abs(math.Log(d.Kg/learned.Kg)) / math.Hypot(d.sd(), learned.sd()); {
	case off > contradicted:
		return learned
	case off > doubtful:
		return Dry{Kg: math.Sqrt(d.Kg * learned.Kg), LowKg: min(d.LowKg, learned.LowKg), HighKg: max(d.HighKg, learned.HighKg), From: Learned}
	}
	return d
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
