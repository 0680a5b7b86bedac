package rules

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

const (
	// probeErrPts is how far a cheap moisture probe may be off, points of % wet
	// basis. Nagahage et al. 2019, Agriculture 9:141, found 0.05–0.09 m³/m³ for
	// cheap capacitive ones; this is the lower end in castings.
	probeErrPts = 4

	// pocketErrPts is how far a zone's mean may be from what its probe says, points of
	// % wet basis, with 80 % chance: its calibration, and the pocket that it sits in.
	// Fitted to simulated bins (scenariotest.Soaking); others were held out.
	pocketErrPts = 1.9

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
	if hand := z.handSays(z.Husbandry.Given.At, at); hand.Low-feelOff > z.moist.Value {
		a.VisitLitres, a.EveryDays, a.Visits, a.First = 0, 0, 0, true
		a.Do = fmt.Sprintf("%s, and the probe says that it is dry: feel right beside the probe before you give any water. By the probe it wants %s in all.",
			s.sayHand(hand, at), s.farm.Units.VolumeRange(a.LitresLow, a.LitresHigh))
		return a
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
	low, high := husbandry.WaterRange(d, pct, aim, pocketErrPts)
	visit := husbandry.VisitWater(d.Kg, pct, aim, probeErrPts, most)
	plan := husbandry.PlanWater(water, min(visit, low), most, z.Husbandry.Dry.LossPerDay*d.Kg, z.Husbandry.visitDays())
	return z.standsOn(d, farm.Advice{
		WaterLitres: water, LitresLow: low, LitresHigh: high, VisitLitres: plan.VisitL, EveryDays: plan.EveryDays, Visits: plan.Visits,
	})
}

// standsOn notes in an advice which dry mass it was worked out from.
func (z *zone) standsOn(d husbandry.Dry, a farm.Advice) *farm.Advice {
	a.DryMassKg, a.DryMassFrom = d.Kg, d.From
	if told := z.told(); told.Kg > 0 && d.From == husbandry.Learned {
		a.DryMassTold = told.Kg
	}
	return &a
}

// dryingAdvice is the dose for a zone that is drying. One that is still above
// the middle of its band wants none yet: then it is what it will want when it
// leaves the band.
func (s *State) dryingAdvice(z *zone, at time.Time) *farm.Advice {
	if z.icy(at) || z.moist.Value < z.aim.Middle() || z.waterStillCounts(at) {
		return s.dryAdvice(z, at)
	}
	a := z.doseFrom(z.moist.bands.Thrive.Low)
	if a == nil {
		return &farm.Advice{Do: "It wants no water yet; look again before then."}
	}
	a.Do = fmt.Sprintf("It wants no water yet; by then it will want %s, over several visits.", s.farm.Units.VolumeRange(a.LitresLow, a.LitresHigh))
	return a
}

func (s *State) dryAdvice(z *zone, at time.Time) *farm.Advice {
	if z.icy(at) {
		return &farm.Advice{First: true, Do: icyDo}
	}
	if a := s.dose(z, at); a != nil {
		return a
	}
	return s.lessGiven(z, &farm.Advice{Do: "Sprinkle a little water, loosen, wait, and look again."}, at)
}

// sayBasis says what an amount stands on, where that is worth a sentence: on a guess, or
// on waterings that do not bear out what the keeper told.
func (s *State) sayBasis(z *zone, a *farm.Advice) string {
	switch u := s.farm.Units; {
	case a.DryMassFrom == husbandry.Guess:
		return " The amount stands on a guess of how much the bin holds."
	case a.DryMassTold > 0:
		size, guess := "size and ", z.guess()
		if guess.Kg <= 0 {
			size = ""
		}
		d, _ := z.learned(guess)
		return fmt.Sprintf(" You told %s of dry matter; its %slast %d waterings speak of %s: weigh it, or leave out dry_mass. "+
			"A probe that is badly calibrated or sits in an odd pocket misleads likewise.",
			u.MassGiven(a.DryMassTold), size, len(z.Husbandry.Doses.Doses), u.MassRange(d.LowKg, d.HighKg))
	}
	return ""
}

// pourDo says how to give a dose: dry castings repel water, so little and
// often, and beginning with less than is wanted for sure.
func (s *State) pourDo(z *zone, a *farm.Advice, at time.Time) string {
	u := s.farm.Units
	do := fmt.Sprintf("It wants %s in all; begin with %s %s: sprinkle, loosen, wait, look again.",
		u.VolumeRange(a.LitresLow, a.LitresHigh), u.VolumeBeside(a.VisitLitres, a.LitresLow, a.LitresHigh), s.howOften(a, at))
	if a.EveryDays > 0 {
		do += fmt.Sprintf(" It loses %s a week.", u.Volume(7*z.Husbandry.Dry.LossPerDay*a.DryMassKg))
	}
	if a.EveryDays == 1 && a.Visits == 0 {
		do += " It dries faster than water makes up for: cover it."
	}
	return do + s.sayBasis(z, a)
}

// howOften says when a dose is given: at this visit, or so many days apart where
// the keeper's own visits are too few.
func (s *State) howOften(a *farm.Advice, at time.Time) string {
	if a.EveryDays <= 0 || a.Visits == 1 {
		return "this visit"
	}
	often := fmt.Sprintf("every %d days", a.EveryDays)
	if a.EveryDays <= 3 {
		often = [...]string{1: "every day", 2: "every second day", 3: "every third day"}[a.EveryDays]
	}
	if a.Visits == 0 {
		return often + " while it dries like this"
	}
	last := at.Add(time.Duration(a.EveryDays*(a.Visits-1)) * 24 * time.Hour)
	return often + " until " + s.farm.Dates().Day(last, at)
}

func (s *State) bedAdvice(z *zone, at time.Time) *farm.Advice {
	aim, d := z.aim.Middle(), z.dry()
	if hand := z.handSays(z.Husbandry.Bedded.At, at); !hand.At.IsZero() && hand.High+feelOff < z.moist.Value {
		return &farm.Advice{First: true, Do: s.sayHand(hand, at) + ", and the probe says that it is wet: feel right beside the probe, and look whether it stands in water, before you mix in bedding."}
	}
	wet := husbandry.WetMass(d.Kg, z.moist.Value)
	kg, ok := husbandry.BeddingToAdd(wet, z.moist.Value, beddingPct, aim)
	if !ok || kg <= 0 {
		return &farm.Advice{Do: "Mix in dry bedding, loosen it and leave the lid ajar."}
	}
	low, high := husbandry.BeddingRange(d, z.moist.Value, beddingPct, aim, pocketErrPts)
	a := z.standsOn(d, farm.Advice{BeddingKg: kg, KgLow: low, KgHigh: high})
	if kg > mostBedding*wet {
		a.Do = "Let it drain first: find out why water stands in it, take the wettest part out, and mix in dry bedding until it no longer drips when squeezed."
		return a
	}
	a.Do = fmt.Sprintf("It wants %s of dry bedding; begin with %s: mix it in, loosen it and leave the lid ajar; see that it can drain.",
		s.farm.Units.MassRange(low, high), s.farm.Units.MassBeside(low)) + s.sayBasis(z, a)
	return a
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

// What was done is not asked for again until its effect can be seen. Choices:
const (
	waterCounts  = 24 * time.Hour     // until the rise is seen, or this long
	waterRests   = 48 * time.Hour     // the rest of a dose is offered from then on
	waterMissed  = 7 * 24 * time.Hour // water that never showed is spoken of so long
	beddingRests = 48 * time.Hour
	turningRests = 24 * time.Hour

	leastShown   = 0.5 // points of % that a rise is told from noise by: levels are medians
	leastAwaited = 1.5 // points: water that should raise less may pass unseen; an advised visit raises two and more
)

// A watering is water given of late, as far as it still counts.
type watering struct {
	At     time.Time // of the last can; zero: none
	Litres float64   // of all cans that had an amount
	Unsaid bool      // one of them had none
	Before float64   // moisture before the first can, % wet basis
	Known  bool      // whether Before is known
	Mixed  bool      // something else was done since: no rise can be told
	Shown  bool      // the rise has been seen, or is not waited for any more
	Missed bool      // it should have been seen, and was not
}

// A bedding is dry bedding given of late.
type bedding struct {
	At time.Time
	Kg float64
}

// give counts a watering. One more before the last has shown adds to it.
func (z *zone) give(j farm.Jot, part float64) {
	g := &z.Husbandry.Given
	if apart := j.At.Sub(g.At); g.At.IsZero() || g.Shown || g.Missed || apart.Abs() >= waterCounts {
		if j.At.Before(g.At) {
			return // jotted late, and another one has been counted since
		}
		*g = watering{}
		g.Before, g.Known = z.moistBefore(j.At)
	}
	g.Known = g.Known && !j.Uncertain
	g.Litres += j.Litres * part
	g.Unsaid = g.Unsaid || j.Litres <= 0
	g.At = later(g.At, j.At)
}

// moistBefore is the moisture that the zone had before t: its level when t is
// now, else the mean of the hour before.
func (z *zone) moistBefore(t time.Time) (pct float64, known bool) {
	if last := z.moist.At; !last.IsZero() && !t.Before(last) {
		return z.moist.Value, t.Sub(last) < 12*time.Hour
	}
	return z.Husbandry.Moist.Hours.At(t.Add(-time.Hour))
}

// bed counts dry bedding; two lots within the time that one counts are one.
func (z *zone) bed(j farm.Jot, part float64) {
	b := &z.Husbandry.Bedded
	switch apart := j.At.Sub(b.At); {
	case apart <= -beddingRests:
		return
	case apart >= beddingRests:
		*b = bedding{}
	}
	b.Kg += j.Kg * part
	b.At = later(b.At, j.At)
}

// awaits is by how much the water given should raise the moisture, points.
func (z *zone) awaits() float64 {
	g, d := z.Husbandry.Given, z.dry()
	if d.Kg <= 0 || !g.Known || g.Mixed {
		return 0
	}
	return husbandry.WetBasis(husbandry.DryBasis(g.Before)+g.Litres/d.Kg) - g.Before
}

// settleWater looks whether the water given has shown, once it has spread.
func (z *zone) settleWater(at time.Time) {
	g := &z.Husbandry.Given
	if g.At.IsZero() || g.Shown || g.Missed || z.moist.At.Sub(g.At) < settleAfter {
		return
	}
	awaited := z.awaits()
	switch rise := z.moist.Value - g.Before; {
	case g.Known && !g.Mixed && rise >= max(leastShown, awaited/4):
		g.Shown = true
	case at.Sub(g.At) < waterCounts:
	case awaited >= leastAwaited:
		g.Missed = true
	default:
		g.Shown = true
	}
}

// lessGiven takes from a dose what was given of late, and says so.
func (s *State) lessGiven(z *zone, a *farm.Advice, at time.Time) *farm.Advice {
	g := z.Husbandry.Given
	since := at.Sub(g.At)
	rests := waterRests
	if a.EveryDays == 1 {
		rests = waterCounts
	}
	switch unseen := z.waterStillCounts(at); {
	case g.At.IsZero() || since < 0:
	case g.Missed && since < waterMissed:
		if since < rests {
			a.VisitLitres, a.Do = 0, ""
		}
		a.Do = strings.TrimSpace(s.sayUnshown(z, at) + " " + a.Do)
	case unseen || since < rests:
		until, next := g.At.Add(rests).UTC(), "look again"
		switch {
		case unseen:
			until = g.At.Add(waterCounts).UTC()
			taken := g.Litres
			if g.Unsaid {
				taken += a.VisitLitres
			}
			for _, litres := range []*float64{&a.WaterLitres, &a.LitresLow, &a.LitresHigh} {
				*litres = max(0, *litres-taken)
			}
		case z.record(farm.TooDry).raised() || z.record(farm.Drying).raised(): // else it may well be enough
			next = "the rest is due"
		}
		a.VisitLitres, a.GivenLitres, a.Wait, a.EveryDays = 0, g.Litres, &until, 0
		said, _ := g.said(s.farm.Units)
		a.Do = fmt.Sprintf("%s; %s %s.", s.sayGiven(said, g.At, at), next, s.onDay(until, at))
		if unseen && g.Known && g.Before+z.awaits() > z.aim.High {
			a.Do += " That is more than it holds well: see that it can drain."
		}
	}
	return a
}

// waterStillCounts tells whether water was given of late whose rise has not
// been seen.
func (z *zone) waterStillCounts(at time.Time) bool {
	g := z.Husbandry.Given
	return !g.At.IsZero() && !g.Shown && !g.Missed && at.Sub(g.At) < waterCounts
}

// sayUnshown asks where the water went.
func (s *State) sayUnshown(z *zone, at time.Time) string {
	g := z.Husbandry.Given
	said, one := g.said(s.farm.Units)
	have, they := "have", "they"
	if one {
		have, they = "has", "it"
	}
	return fmt.Sprintf("The %s given %s %s not shown at the probe: %s may have run through, or the probe sits in a dry pocket. Look where %s went before you give more.",
		said, s.whenDone(g.At, at), have, they, they)
}

// said is the amount of a watering: "3 quarts", "1 quart and more", "water".
func (g watering) said(u farm.Units) (said string, one bool) {
	if g.Litres <= 0 {
		return "water", true
	}
	if said, one = u.VolumeGiven(g.Litres); g.Unsaid {
		said += " and more"
	}
	return said, one
}

// sayGiven says what was given and when: "3 quarts given at 12:21".
func (s *State) sayGiven(what string, given, at time.Time) string {
	return farm.Capital(what) + " given " + s.whenDone(given, at)
}

// whenDone says when something was done: "at 12:21", "yesterday at 12:21".
func (s *State) whenDone(done, at time.Time) string {
	clock := "at " + done.In(s.farm.Location).Format("15:04")
	if day := s.onDay(done, at); day != "today" {
		return day + " " + clock
	}
	return clock
}

// onDay says on which day something is: "tomorrow", "on Thursday".
func (s *State) onDay(t, at time.Time) string {
	day := s.farm.Dates().Day(t, at)
	if slices.Contains([]string{"today", "tomorrow", "yesterday"}, day) {
		return day
	}
	return "on " + day
}

// lessBedded takes from what a wet zone wants the bedding given of late.
func (s *State) lessBedded(z *zone, a *farm.Advice, at time.Time) *farm.Advice {
	b := z.Husbandry.Bedded
	until := resting(b.At, at, beddingRests)
	if until == nil {
		return a
	}
	what := "dry bedding"
	if b.Kg > 0 {
		what = s.farm.Units.MassGiven(b.Kg) + " of dry bedding"
	}
	a.BeddingKg, a.KgLow, a.KgHigh, a.Wait = 0, 0, 0, until
	a.Do = fmt.Sprintf("%s; look again %s, and see that it can drain.", s.sayGiven(what, b.At, at), s.onDay(*until, at))
	return a
}

// turned tells whether a zone was turned so lately that it need not be again,
// and until when.
func (z *zone) turned(at time.Time) (until *time.Time) {
	return resting(z.Husbandry.Turned, at, turningRests)
}

// resting is until when what was done is not asked for again; nil when it is.
func resting(done, at time.Time, long time.Duration) *time.Time {
	if done.IsZero() || at.Before(done) || at.Sub(done) >= long {
		return nil
	}
	until := done.Add(long).UTC()
	return &until
}

const (
	visitsKept  = 9
	visitsApart = 12 * time.Hour // what is jotted within is one visit
	leastVisits = 4              // before they are a pace
)

// visited notes that the keeper was at a bin.
func (h *husbandryMemory) visited(t time.Time) {
	near := func(v time.Time) bool { return v.Sub(t).Abs() < visitsApart }
	if !slices.ContainsFunc(h.Visits, near) {
		h.Visits = keepNewest(h.Visits, t, visitsKept, time.Time.Compare)
	}
}

// visit is the one that is under way or just over; nil where there is none.
func (h *husbandryMemory) visit(at time.Time) *farm.Visit {
	near := func(t time.Time) bool { return !t.IsZero() && at.Sub(t).Abs() < visitsApart }
	i := slices.IndexFunc(h.Visits, near)
	if i < 0 {
		return nil
	}
	v := &farm.Visit{At: h.Visits[i]}
	for _, b := range h.Habits {
		if slices.ContainsFunc(b.Acts, func(a act) bool { return near(a.At) }) {
			v.Did = append(v.Did, b.What)
		}
	}
	return v
}

// visitDays is how many days pass from one visit to the next: the middle of the
// last gaps in the logbook, from one day to a fortnight.
func (h *husbandryMemory) visitDays() float64 {
	if len(h.Visits) < leastVisits {
		return husbandry.UsualVisits
	}
	var gaps []float64
	for i, v := range h.Visits[1:] {
		gaps = append(gaps, v.Sub(h.Visits[i]).Hours()/24)
	}
	slices.Sort(gaps)
	return min(14, max(1, gaps[len(gaps)/2]))
}

// nearFreezing is the level, °C, under which parts of a bin may be frozen while
// its probe still reads above 0: cheap thermometers are a degree off and a bin
// is not warm alike everywhere. A choice.
const nearFreezing = 2

// icy tells whether a zone may be frozen in parts at m. A moisture probe then
// reads too dry: it goes by how much water there is that an electric field can
// turn, and ice is not (its relative permittivity is about 3, that of water at
// 0 °C about 88; textbook values, from memory). Water poured on it freezes, or
// stands until it thaws.
func (z *zone) icy(m time.Time) bool {
	a := z.bin.ambient
	switch {
	case anyFresh(z.temp.probes, m):
		return z.temp.Value < nearFreezing
	case a != nil && a.fresh(m):
		return a.Good.Value < nearFreezing-3 // a bin lags its room, and worms warm it
	}
	return !z.temp.At.IsZero() && z.temp.Value < nearFreezing // when it was last heard
}

// icyDo is what to do where a zone seems dry and may be frozen.
const icyDo = "No water now: it is near freezing, and a probe takes ice for dryness. Get it frost-free first, and judge it again when it has thawed."
