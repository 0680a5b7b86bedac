package rules

import (
	"cmp"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/trend"
)

// husbandryMemory is what is remembered of a zone beside its levels: food,
// water, castings and curves. It goes into a snapshot.
type husbandryMemory struct {
	Foods   []food    // oldest first
	Lining  []food    // bedding that was jotted as a feed, likewise
	Eating  reckoning // how far food has been eaten
	UsualKg float64   // of the last visit with a feeding that had an amount
	UsualOf string
	Fed     bool                             // a feeding has been jotted
	Paces   map[string]husbandry.PaceLearner // by kind of food

	Past past // how warm and moist it was

	Doses   husbandry.DoseLearner
	Pouring pouring
	Opened  time.Time // last that a jot made a step in the moisture
	Given   watering
	Bedded  bedding
	Turned  time.Time   // last
	Sights  []sighting  // what was seen of late, oldest first
	Visits  []time.Time // of the keeper to the bin, as far as the logbook tells

	Habits []habit // what the keeper does again and again

	Fill    fill
	Cohorts []cohort
	Sifts   usualSifting

	EmptiedAt time.Time // last; what came in before is gone
	LiftedAt  time.Time // last

	Moist trend.Track // its slow past, which forecasts are drawn from
	Heat  heatMemory
	Cool  roomMemory
	Warm  roomMemory
	Dry   dryMemory
	Sift  siftMemory
}

// pouring is a watering whose rise is awaited.
type pouring struct {
	At         time.Time // of the first can; zero: none
	Litres     float64
	Opened     time.Time // when anything was done before it
	LossPerDay float64   // as last seen before it, kg of water per kg dry
}

// A fill is what is known of how full a tub of castings is.
type fill struct {
	Known  bool    // it was emptied once, so that Litres is all there is
	Litres float64 // that came in by jots
	Untold float64 // of Litres: what is there only if the tub was full when some was taken out
}

// A cohort is the cocoons that came into a tub with one sifting.
type cohort struct {
	At       time.Time
	Litres   float64
	Parts    []cocoons
	Reckoned reckoning
}

// cocoons of one species; Done reaches 1 when they are due.
type cocoons struct {
	Species string
	Done    float64
	DueFrom time.Time // zero: not yet
	Lifted  bool      // the keeper has taken the young or the adults out
}

// book keeps the books of a zone after a jot.
func (s *State) book(z *zone, j farm.Jot) {
	part := s.partOf(z, j)
	z.practise(j, part)
	steps := slices.Contains(z.moist.ResetBy, j.What)
	if steps {
		z.learnDose(j.At)
	}
	if j.What.Row().Sight != nil {
		s.see(z, j)
	}
	switch j.What {
	case farm.Fed:
		s.feed(z, j, part)
	case farm.Finished:
		s.finish(z, j)
		s.siftingAgain(z)
	case farm.Watered:
		z.pour(j, part, s.Now)
		z.give(j, part)
	case farm.Sifted:
		s.sifted(z, j, part)
	case farm.Emptied:
		z.empty(j)
		s.siftingAgain(z)
	case farm.Lifted:
		z.lift(j.At)
	case farm.Sold, farm.Used, farm.Spread:
		if z.spec.Aim == farm.Keeping && j.Litres > 0 {
			z.empty(j)
		}
	case farm.Holds:
		z.takeStock(j, part)
	case farm.Stocked:
		if z.spec.Aim == farm.Keeping {
			z.Husbandry.Fill.Litres += j.Litres * part
		}
	case farm.Bedded:
		z.bed(j, part)
	case farm.Turned:
		z.Husbandry.Turned = later(z.Husbandry.Turned, j.At)
	}
	if steps {
		z.step(j)
	}
	s.live(z, s.Now)
	s.judgeLedger(z, s.Now)
}

// partOf is the part of a jot's amounts that falls to a zone: what is said of
// a whole bin is shared out over the zones it is meant for.
func (s *State) partOf(z *zone, j farm.Jot) float64 {
	if j.Zone != "" {
		return 1
	}
	total := 0.0
	for _, o := range s.meant(j) {
		total += o.spec.Share
	}
	if total <= 0 {
		return 1
	}
	return z.spec.Share / total
}

// keepNewest puts one more into a list that is kept in order, and drops the first
// where there are more than most.
func keepNewest[T any](list []T, one T, most int, order func(a, b T) int) []T {
	list = append(list, one)
	slices.SortStableFunc(list, order)
	return slices.Delete(list, 0, max(0, len(list)-most))
}

// lateJot is how long after a watering its jot still tells when it was. A choice.
const lateJot = 2 * time.Hour

// settleAfter is how long water takes to be seen at all; what is given within is
// one watering. Chosen on simulated bins (scenariotest.Soaking).
const settleAfter = 8 * time.Hour

// pour waits for the rise that a watering causes. A second one before the first can
// be seen adds to it.
func (z *zone) pour(j farm.Jot, part float64, now time.Time) {
	h := &z.Husbandry
	switch p := &h.Pouring; {
	case j.Uncertain || j.Litres <= 0 || now.Sub(j.At) > lateJot:
		*p = pouring{}
	case !p.At.IsZero() && j.At.Sub(p.At) < settleAfter:
		p.Litres += j.Litres * part
	default:
		*p = pouring{At: j.At, Litres: j.Litres * part, Opened: h.Opened, LossPerDay: h.Dry.LossPerDay}
	}
}

// step notes that a jot made a step in the moisture.
func (z *zone) step(j farm.Jot) {
	h := &z.Husbandry
	h.Opened = later(h.Opened, j.At)
	if j.What != farm.Watered && !j.At.Before(h.Pouring.At) {
		h.Pouring = pouring{} // no rise is learned across another step
		h.Given.Mixed = true
	}
}

// learnDose reads the rise a watering caused, once it has settled or something else
// is done.
func (z *zone) learnDose(until time.Time) {
	h := &z.Husbandry
	p := h.Pouring
	if p.At.IsZero() || until.Sub(p.At) < trend.SoakLeast {
		return
	}
	if from, to, ok := trend.Soaked(&h.Moist, p.At, p.Opened, until, p.LossPerDay); ok {
		h.Doses.Pour(p.Litres, from, to)
	}
	h.Pouring = pouring{}
}

// freshestKgPerL is what a litre of wet material weighs at most; a guess that
// makes it heavier is a wrong guess. A choice: the Indian Fertiliser Control Order has
// 0.7 to 0.9 for vermicompost that is nearly dry.
const freshestKgPerL = 0.95

// dry is the dry mass of a zone: told, as far as its waterings bear that out, else learned,
// else guessed.
func (z *zone) dry() husbandry.Dry {
	told, guess := z.told(), z.guess()
	learned, ok := z.learned(guess)
	switch {
	case told.Kg > 0 && ok:
		return told.Against(learned)
	case told.Kg > 0:
		return told
	case ok:
		return learned
	}
	return guess
}

// learned is what waterings teach, weighed together with the guess by the volume.
func (z *zone) learned(guess husbandry.Dry) (d husbandry.Dry, ok bool) {
	d, ok = z.Husbandry.Doses.DryMass()
	return d.With(guess), ok
}

// told is the dry mass that the keeper told, with what came in since; none where it
// was emptied since.
func (z *zone) told() husbandry.Dry {
	if z.spec.DryMassKg <= 0 || z.Husbandry.Fill.Known {
		return husbandry.Dry{}
	}
	d, more := husbandry.DryMass(z.spec, 0), husbandry.GuessDry(z.spec.Aim, z.Husbandry.Fill.Litres)
	d.Kg, d.LowKg, d.HighKg = d.Kg+more.Kg, d.LowKg+more.LowKg, d.HighKg+more.HighKg
	return d
}

// guess is the dry mass by the volume.
func (z *zone) guess() husbandry.Dry {
	d := husbandry.GuessDry(z.spec.Aim, z.litres())
	if most := freshestKgPerL * z.litres() * (1 - z.moist.Value/100); !z.moist.At.IsZero() && d.Kg > most {
		d.Kg, d.HighKg, d.LowKg = most, most, d.LowKg*most/d.Kg
	}
	return d
}

// litres is how much material a zone is taken to hold. A tub of whose fill
// nothing is known counts as full, until castings come into it.
func (z *zone) litres() float64 {
	whole := z.bin.spec.VolumeL * z.spec.Share
	switch f := z.Husbandry.Fill; {
	case f.Known:
		return f.Litres
	case z.spec.Aim == farm.Keeping && z.kept() > 0 && whole > 0:
		return min(whole, z.kept())
	case z.spec.Aim == farm.Sifting:
		return max(z.unsifted(), z.full()/4) // the screen leaves something
	}
	return z.full()
}

// full is how much it holds while nothing has been taken out.
func (z *zone) full() float64 { return cmp.Or(z.spec.HoldsL, z.bin.spec.VolumeL*z.spec.Share) }

// kept is the castings in a tub, as far as anybody has told of them.
func (z *zone) kept() float64 {
	switch f := z.Husbandry.Fill; {
	case z.spec.Aim != farm.Keeping:
		return 0
	case f.Known:
		return f.Litres - f.Untold
	default:
		return z.spec.HoldsL + f.Litres
	}
}

// unsifted is what lies in a sifting zone before the screen; 0 once the keeper has
// said that all is sifted.
func (z *zone) unsifted() float64 {
	if z.spec.Aim != farm.Sifting || z.Husbandry.Sift.Over {
		return 0
	}
	return max(0, z.full()-z.Husbandry.Sift.TakenL)
}

// shift moves every time in it that is on the clock's scale, but for those of the curve
// and the past.
func (h *husbandryMemory) shift(move func(...*time.Time)) {
	move(&h.Pouring.At, &h.Pouring.Opened, &h.Opened, &h.Heat.At, &h.Given.At, &h.Bedded.At, &h.Turned, &h.EmptiedAt, &h.LiftedAt, &h.Sifts.At)
	move(&h.Eating.Upto, &h.Eating.AssumedUpto)
	move(&h.Sift.Since, &h.Sift.Ready.Past, &h.Sift.Ready.Inside, &h.Sift.Closed.Past, &h.Sift.Closed.Inside)
	for i := range h.Sights {
		move(&h.Sights[i].At, &h.Sights[i].HatchBy)
	}
	for i := range h.Visits {
		move(&h.Visits[i])
	}
	for i := range h.Habits {
		move(&h.Habits[i].Breach)
		for k := range h.Habits[i].Acts {
			move(&h.Habits[i].Acts[k].At)
		}
	}
	for _, foods := range [][]food{h.Foods, h.Lining} {
		for i := range foods {
			f := &foods[i]
			move(&f.At, &f.Over, &f.Reckoned.Upto, &f.Reckoned.AssumedUpto)
		}
	}
	for i := range h.Cohorts {
		c := &h.Cohorts[i]
		move(&c.At, &c.Reckoned.Upto, &c.Reckoned.AssumedUpto)
		for k := range c.Parts {
			move(&c.Parts[k].DueFrom)
		}
	}
}
