package husbandry

import "math"

// visitPart is how much of the water that a zone holds at the dry end of its
// thrive band may be added at one visit: dry castings repel water, so more
// would run through. It does not shrink as the zone dries, for what dries out
// wants no less. Common practice, no source for the number; Harit et al. 2014,
// J Appl Hort 16:112–116, for the water repellency.
const visitPart = 0.10

// longestPlan is for how many days a row of visits is planned at most. A choice.
const longestPlan = 42

// MostAtOnce is what a zone takes up at one visit, L, given the dry end of its
// thrive band, % wet basis.
func MostAtOnce(dryKg, lowPct float64) float64 { return visitPart * WaterHeld(dryKg, lowPct) }

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

// UsualVisits is how many days may pass from one visit to the next: rounds are
// made once a week.
const UsualVisits = 7.0

// catchingUp is how many times what is lost a visit brings at least, where it
// takes several to bring a zone back. A choice.
const catchingUp = 1.5

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
