package husbandry

import (
	"math"
	"strings"

	"binwatchd/internal/farm"
)

// What food and bedding become, for the castings account: how much dry matter
// comes in, what of it stays as castings, how long that takes and how much room it
// fills.

// dryParts is dry matter as a part of fresh mass by kind of food or bedding.
// From memory, after Table A.1 of NRAES-54, On-Farm Composting Handbook (Rynk 1992):
// fruit wastes 80 % water, food and vegetable wastes 69 to 87, leaves 38, straw 12,
// manure 72 to 81, newsprint and cardboard 3 to 8. Mash, grain and coffee grounds:
// common practice, no source.
var dryParts = map[string]float64{
	"mash": 0.88, "grain": 0.87, "fruit": 0.20, "scraps": 0.25, "coffee": 0.40, "manure": 0.25,
	"paper": 0.93, "cardboard": 0.92, "leaves": 0.62, "straw": 0.88,
}

const (
	otherFoodDry = 0.30 // of a food whose kind is not in the table; a choice
	beddingDry   = 0.90 // of bedding that nobody named: it is given dry

	// looseKgPerL is what a litre of food or of bedding weighs, for those who measure by
	// the bucket. Common practice, no source.
	foodKgPerL    = 0.5
	beddingKgPerL = 0.08
)

// DryIn is the dry matter that a jot brings into a bin, kg; ok is false where it
// brings in some and does not say how much.
func DryIn(j farm.Jot) (kg float64, ok bool) {
	part, perL := otherFoodDry, foodKgPerL
	switch {
	case j.What == farm.Bedded, j.What == farm.Fed && IsBedding(j.Of):
		part, perL = beddingDry, beddingKgPerL
	case j.What != farm.Fed:
		return 0, true
	}
	if known, ok := dryParts[strings.ToLower(j.Of)]; ok {
		part = known
	}
	kg = (j.Kg + j.Litres*perL) * part
	return kg, kg > 0
}

// An Estimate is a figure that nobody has measured here: its middle, and the standard
// deviation of its logarithm.
type Estimate struct{ Middle, LogSD float64 }

// CastingsPerKg is the litres of castings that a kg of dry matter becomes. Half of the
// solids is lost as carbon dioxide, 50 ± 10 % (an estimate given for vermireactors fed
// with whole plants, Authorea preprint 420648, read there); castings hold 0.40 kg of dry
// matter a litre, 0.25 to 0.60 ([GuessDry]).
var CastingsPerKg = Estimate{Middle: 0.5 / 0.40, LogSD: 0.39} // of 0.2 for the solids and 0.34 for the litre

// ThroughScreen is the part, by volume, of what lies in a sifting zone that goes through
// the screen; the rest goes back to the worms. Common practice, no source.
var ThroughScreen = Estimate{Middle: 0.7, LogSD: 0.23} // 0.5 to 0.9

const (
	// RipeFrom and RipeBy are the days of full activity in which matter ripens into
	// castings, evenly from the one to the other. Beds of finely divided matter in the
	// warm are finished in 45 to 60 days (Kauser & Khwairakpam 2022, Environ Technol Innov
	// 25:102193); household bins in three to six months (City of Eugene, FAQ on worm bins),
	// which at three quarters of full activity is 68 to 135 days. That ripening goes with
	// activity is a choice.
	RipeFrom, RipeBy = 45.0, 135.0

	// DriesInDays is how long a finished end takes from the last feed until it can be
	// sifted: the worms leave it in about a month (City of Eugene, likewise); some days to
	// dry are a choice.
	DriesInDays = 35.0

	// KeptLoss is the part of stored castings that shrinks and rots away in a day: a
	// hundredth in a month. A choice: no published figure for kept castings was found.
	KeptLoss = 0.01 / 30
)

// Ripe is the part of some matter that is castings after so many days of full activity.
func Ripe(activeDays float64) float64 {
	return min(1, max(0, (activeDays-RipeFrom)/(RipeBy-RipeFrom)))
}

// Kept is the part of stored castings that is left after so many days.
func Kept(days float64) float64 { return math.Exp(-KeptLoss * max(0, days)) }
