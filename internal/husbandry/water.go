package husbandry

// wettest is the highest moisture that still has a dry part to reckon with; a
// probe in standing water may say 100 %, which counts as this.
const wettest = 99.0

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

// WaterHeld is the water in a zone, kg, which is litres.
func WaterHeld(dryKg, pct float64) float64 { return dryKg * DryBasis(pct) }

// WetMass is the fresh mass of a zone, kg.
func WetMass(dryKg, pct float64) float64 { return dryKg * (1 + DryBasis(pct)) }

// WaterToAdd is the water that takes a zone from one moisture to another, kg,
// which is litres: dry mass × change of water per kg dry. It is negative where
// water has to be lost.
func WaterToAdd(dryKg, fromPct, toPct float64) float64 {
	return dryKg * (DryBasis(toPct) - DryBasis(fromPct))
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
