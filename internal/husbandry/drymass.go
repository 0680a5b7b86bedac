package husbandry

import "binwatchd/internal/farm"

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

// dryDensity is dry matter per litre of settled material, kg/L. Dry castings
// 0.2–0.5 from memory; the fresh density 0.7–0.9 of the Indian Fertiliser
// Control Order is for packed, nearly dry goods. Choices within that.
func dryDensity(aim farm.Aim) (typical, low, high float64) {
	switch aim {
	case farm.Keeping:
		return 0.40, 0.25, 0.60
	case farm.Sifting:
		return 0.30, 0.20, 0.45
	}
	return 0.18, 0.12, 0.28
}

// GuessDry guesses the dry matter in volumeL litres of a zone by its aim.
func GuessDry(aim farm.Aim, volumeL float64) Dry {
	if volumeL <= 0 {
		return Dry{}
	}
	typical, low, high := dryDensity(aim)
	return Dry{Kg: volumeL * typical, LowKg: volumeL * low, HighKg: volumeL * high, From: Guess}
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
