package rules

import (
	"fmt"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

const (
	// probeErrPts is how far a cheap moisture probe may be off, points of % wet
	// basis. Nagahage et al. 2019, Agriculture 9:141, found 0.05–0.09 m³/m³ for
	// cheap capacitive ones; this is the lower end in castings.
	probeErrPts = 4

	// mostBedding is the part of a zone's fresh mass past which bedding alone is
	// no remedy. A choice.
	mostBedding = 0.2

	// beddingPct is the moisture of dry bedding as it comes: air-dry paper or
	// leaves. Common practice, no source.
	beddingPct = 10
)

// dose is the water that would bring a zone to the middle of its thrive band,
// less what was given of late; nil when it wants none or its dry mass is not
// known.
func (s *State) dose(z *zone, at time.Time) *farm.Advice {
	pct := z.moist.Value
	if g := z.Husbandry.Given; z.waterStillCounts(at) && g.Known {
		pct = g.Before // its rise is counted already
	}
	a := z.doseFrom(pct)
	if a == nil {
		return nil
	}
	a.Do = s.pourDo(z, a, at)
	return s.lessGiven(z, a, at)
}

// doseFrom is the dose for a zone at some moisture.
func (z *zone) doseFrom(pct float64) *farm.Advice {
	d, band := z.dry(), z.aim
	aim := band.Middle()
	if d.Kg <= 0 || z.moist.At.IsZero() || pct >= aim {
		return nil
	}
	water, most := husbandry.WaterToAdd(d.Kg, pct, aim), husbandry.MostAtOnce(d.Kg, band.Low)
	visit := husbandry.VisitWater(d.Kg, pct, aim, probeErrPts, most)
	plan := husbandry.PlanWater(water, visit, most, z.Husbandry.Dry.LossPerDay*d.Kg, z.Husbandry.visitDays())
	return &farm.Advice{
		WaterLitres: water, VisitLitres: plan.VisitL, EveryDays: plan.EveryDays, Visits: plan.Visits,
		DryMassKg: d.Kg, DryMassFrom: d.From,
	}
}

// dryingAdvice is the dose for a zone that is drying. One that is still above
// the middle of its band wants none yet: then it is what it will want when it
// leaves the band.
func (s *State) dryingAdvice(z *zone, at time.Time) *farm.Advice {
	if z.icy(at) {
		return icyAdvice()
	}
	if z.moist.Value < z.aim.Middle() || z.waterStillCounts(at) {
		return s.dryAdvice(z, at)
	}
	a := z.doseFrom(z.moist.bands.Thrive.Low)
	if a == nil {
		return &farm.Advice{Do: "It wants no water yet; look again before then."}
	}
	a.Do = fmt.Sprintf("It wants no water yet; by then it will want %s, over several visits.", s.farm.Units.Volume(a.WaterLitres))
	return a
}

func (s *State) dryAdvice(z *zone, at time.Time) *farm.Advice {
	if z.icy(at) {
		return icyAdvice()
	}
	if a := s.dose(z, at); a != nil {
		return a
	}
	return s.lessGiven(z, &farm.Advice{Do: "Sprinkle a little water, loosen, wait, and look again."}, at)
}

// guessed is said where nobody has told or taught how much a bin holds.
const guessed = " The amount stands on a guess of how much the bin holds."

// pourDo says how to give a dose: dry castings repel water, so little and
// often.
func (s *State) pourDo(z *zone, a *farm.Advice, at time.Time) string {
	u := s.farm.Units
	do := fmt.Sprintf("Give %s %s: sprinkle, loosen, wait, look again.", u.Volume(a.VisitLitres), s.howOften(a, at))
	if a.EveryDays > 0 {
		do += fmt.Sprintf(" It loses %s a week.", u.Volume(7*z.Husbandry.Dry.LossPerDay*a.DryMassKg))
	}
	if a.WaterLitres > 1.25*a.VisitLitres {
		do += fmt.Sprintf(" In all it wants %s, over several visits.", u.Volume(a.WaterLitres))
	}
	if a.EveryDays == 1 && a.Visits == 0 {
		do += " It dries faster than water makes up for: cover it."
	}
	if a.DryMassFrom == husbandry.Guess {
		do += guessed
	}
	return do
}

// howOften says when a dose is given: at this visit, or so many days apart where
// the keeper's own visits are too few.
func (s *State) howOften(a *farm.Advice, at time.Time) string {
	if a.EveryDays == 0 || a.Visits == 1 {
		return "this visit"
	}
	often := "every day"
	switch a.EveryDays {
	case 1:
	case 2:
		often = "every second day"
	case 3:
		often = "every third day"
	default:
		often = fmt.Sprintf("every %d days", a.EveryDays)
	}
	if a.Visits == 0 {
		return often + " while it dries like this"
	}
	last := at.Add(time.Duration(a.EveryDays*(a.Visits-1)) * 24 * time.Hour)
	return often + " until " + farm.SayDay(last, at, s.farm.Location)
}

func (s *State) wetAdvice(z *zone, at time.Time) *farm.Advice {
	return s.lessBedded(z, s.bedAdvice(z), at)
}

func (s *State) bedAdvice(z *zone) *farm.Advice {
	aim, d := z.aim.Middle(), z.dry()
	kg, ok := husbandry.BeddingToAdd(husbandry.WetMass(d.Kg, z.moist.Value), z.moist.Value, beddingPct, aim)
	if !ok || kg <= 0 {
		return &farm.Advice{Do: "Mix in dry bedding, loosen it and leave the lid ajar."}
	}
	if wet := husbandry.WetMass(d.Kg, z.moist.Value); kg > mostBedding*wet {
		return &farm.Advice{
			BeddingKg: kg, DryMassKg: d.Kg, DryMassFrom: d.From,
			Do: "Let it drain first: find out why water stands in it, take the wettest part out, and mix in dry bedding until it no longer drips when squeezed.",
		}
	}
	do := fmt.Sprintf("Mix in %s of dry bedding, loosen it and leave the lid ajar; see that it can drain.", s.farm.Units.Mass(kg))
	if d.From == husbandry.Guess {
		do += guessed
	}
	return &farm.Advice{BeddingKg: kg, DryMassKg: d.Kg, DryMassFrom: d.From, Do: do}
}

// dustCaution is said wherever dry castings are handled: Pearson et al. 2015, J
// Toxicol Environ Health B 18:43–69, on dust and spores of compost.
const dustCaution = "Sifting raises dust and spores, most when it is dry: dampen it first, let air through, wear a P2/N95 mask and wash your hands; people with asthma or weak immunity stay away. Local health advice decides."

// moisture of a zone, NaN when it is not known.
func (z *zone) moisture() float64 {
	if z.moist.At.IsZero() {
		return nan
	}
	return z.moist.Value
}
