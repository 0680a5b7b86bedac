package husbandry

import "math"

const (
	// wettest is the highest moisture that still has a dry part to reckon with; a
	// probe in standing water may say 100 %, which counts as this.
	wettest = 99.0

	// visitPart is how much of the water that a zone holds at the dry end of its
	// thrive band may be added at one visit: dry castings repel water, so more
	// would run through. It does not shrink as the zone dries, for what dries out
	// wants no less. Common practice, no source for the number; Harit et al. 2014,
	// J Appl Hort 16:112–116, for the water repellency.
	visitPart = 0.10

	// longestPlan is for how many days a row of visits is planned at most. A choice.
	longestPlan = 42

	// UsualVisits is how many days may pass from one visit to the next: rounds are
	// made once a week. Common practice, no source.
	UsualVisits = 7.0

	// catchingUp is how many times what is lost a visit brings at least, where it
	// takes several to bring a zone back. A choice.
	catchingUp = 1.5
)

// DryBasis turns moisture in % of fresh mass into kg of water per kg of dry
// matter: w = M/(1−M). Values outside 0 to 99 % count as the nearer end.
func DryBasis(pct float64) float64 {
	m := min(max(pct, 0), wettest) / 100
	return m / (1 - m)
}

// WetBasis turns kg of water per kg of dry matter into % of fresh mass:
// M = w/(1+w). A negative w counts as 0.
func WetBasis(w float64) float64 {
	w = max(w, 0)
	return 100 * w / (1 + w)
}

// WetMass is the fresh mass of a zone, kg.
func WetMass(dryKg, pct float64) float64 { return dryKg * (1 + DryBasis(pct)) }

// WaterToAdd is the water that takes a zone from one moisture to another, kg,
// which is litres: dry mass × change of water per kg dry. It is negative where
// water has to be lost.
func WaterToAdd(dryKg, fromPct, toPct float64) float64 {
	return dryKg * (DryBasis(toPct) - DryBasis(fromPct))
}

// WaterRange is what a zone may truly want to come from one moisture to another, L,
// with 80 % chance: its dry mass lies in a range, and its probe, which may be off by
// errPts points of % and sees one pocket of it. The two are independent, so they add
// as squares; each end is a quarter of the plain estimate or four times it at most.
func WaterRange(d Dry, fromPct, toPct, errPts float64) (low, high float64) {
	plain := WaterToAdd(d.Kg, fromPct, toPct)
	if plain <= 0 {
		return 0, 0
	}
	return rangeOf(d, plain, WaterToAdd(d.Kg, fromPct+errPts, toPct), WaterToAdd(d.Kg, fromPct-errPts, toPct))
}

// BeddingRange is likewise for dry bedding, kg.
func BeddingRange(d Dry, fromPct, beddingPct, toPct, errPts float64) (low, high float64) {
	to := func(pct float64) float64 {
		kg, _ := BeddingToAdd(WetMass(d.Kg, pct), pct, beddingPct, toPct)
		return kg
	}
	plain := to(fromPct)
	if plain <= 0 {
		return 0, 0
	}
	return rangeOf(d, plain, to(fromPct-errPts), to(fromPct+errPts))
}

// rangeOf is the range of an amount that goes with the dry mass, when it would be
// less or more by the probe's error alone.
func rangeOf(d Dry, plain, less, more float64) (low, high float64) {
	low = plain * (1 - math.Hypot(1-d.LowKg/d.Kg, 1-less/plain))
	high = plain * (1 + math.Hypot(d.HighKg/d.Kg-1, more/plain-1))
	return max(plain/4, low), min(4*plain, high)
}

// BeddingToAdd is the dry bedding, kg as it comes, to mix into wetKg of fresh
// material so that the mixture has moisture toPct: the mixture formula
// G = ΣQM/ΣQ solved for one part. ok is false when the bedding is not drier
// than what is wanted; the amount is 0 when nothing is too wet.
func BeddingToAdd(wetKg, fromPct, beddingPct, toPct float64) (kg float64, ok bool) {
	if fromPct <= toPct {
		return 0, true
	}
	if beddingPct >= toPct {
		return 0, false
	}
	return wetKg * (fromPct - toPct) / (toPct - beddingPct), true
}

// MostAtOnce is what a zone takes up at one visit, L, given the dry end of its
// thrive band, % wet basis.
func MostAtOnce(dryKg, lowPct float64) float64 { return visitPart * (dryKg * DryBasis(lowPct)) }

// VisitWater is the careful amount for one visit, L. It takes the zone to be
// wetter than the probe says by the probe's error, in points of % wet basis,
// yet gives at least half of the plain estimate; and never more than mostL. It
// is 0 where no water is wanted.
func VisitWater(dryKg, fromPct, toPct, probeErrPts, mostL float64) float64 {
	plain := WaterToAdd(dryKg, fromPct, toPct)
	if plain <= 0 {
		return 0
	}
	careful := WaterToAdd(dryKg, fromPct+probeErrPts, toPct)
	return min(max(careful, plain/2), mostL)
}

// A WaterPlan is how a dose is given: so much at each visit, and how often.
type WaterPlan struct {
	VisitL    float64
	EveryDays int // 0: the keeper's own visits do
	Visits    int // of EveryDays; 0: for as long as it dries as it does
}

// PlanWater spreads a dose over visits, L. Each gives at least what the zone
// loses until the next one, visitDays later, up to what it takes up at once and
// to the whole dose. Where that hardly makes up for what is lost by then, or in a
// week, it says how often water is wanted: so that about half of each gift
// stays, or, where the dose is whole, so that it keeps up. A week counts even for
// a keeper who comes more often: it may be because the words said so.
func PlanWater(doseL, visitL, mostL, lossPerDay, visitDays float64) WaterPlan {
	lost := max(0, lossPerDay*visitDays)
	p := WaterPlan{VisitL: min(mostL, max(visitL, min(lost, doseL)))}
	lost = lossPerDay * max(visitDays, UsualVisits)
	switch {
	case p.VisitL <= 0, p.VisitL >= catchingUp*lost, p.VisitL >= doseL && p.VisitL >= lost:
		return p
	case p.VisitL >= doseL:
		p.EveryDays = int(max(1, math.Floor(p.VisitL/lossPerDay)))
		return p
	}
	p.EveryDays = int(max(1, math.Round(p.VisitL/(2*lossPerDay))))
	if stays := p.VisitL - lossPerDay*float64(p.EveryDays); stays > 0 {
		if n := math.Ceil(doseL / stays); n*float64(p.EveryDays) <= longestPlan {
			p.Visits = int(n)
		}
	}
	return p
}
