package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

const (
	// hatchingLasts is how long a raised hatching stands when nobody jots that
	// the young were lifted.
	hatchingLasts = 60 * 24 * time.Hour
	maxCohorts    = 24
	// handfulLasts is how long a handful of feed does for hatchlings. A choice.
	handfulLasts = 14 * 24 * time.Hour
)

// A usual sifting is what is filled in for the next one.
type usualSifting struct {
	At     time.Time
	Litres float64 // of the last sifting that had an amount
	To     string  // the tub of the last one that named a tub
}

// sifted takes castings out of a zone, and into a tub when the jot names one:
// with them go the cocoons that slipped through the screen. Those of a tub leave it.
func (s *State) sifted(z *zone, j farm.Jot, part float64) {
	if z.spec.Aim == farm.Sifting {
		z.Husbandry.Sift.take(j.At, j.Litres*part)
		s.siftingAgain(z)
	}
	litres, tub := j.Litres*part, s.tub(j.To)
	if usual := &z.Husbandry.Sifts; !j.At.Before(usual.At) {
		usual.At = j.At
		if litres > 0 {
			usual.Litres = litres
		}
		if tub != nil && tub != z {
			usual.To = tub.who.Bin
		}
	}
	if tub == nil || tub == z {
		return
	}
	if z.spec.Aim == farm.Keeping && litres > 0 {
		z.empty(j)
	}
	h := &tub.Husbandry
	if j.At.Before(h.EmptiedAt) {
		return // they were used since
	}
	h.Fill.Litres += litres
	c := cohort{At: j.At, Litres: litres, Reckoned: reckoning{Upto: j.At}}
	for _, sp := range z.bin.worms {
		c.Parts = append(c.Parts, cocoons{Species: sp.ID})
	}
	h.Cohorts = keepNewest(h.Cohorts, c, maxCohorts, func(a, b cohort) int { return a.At.Compare(b.At) })
	h.Doses.Forget() // another mass from now on
	tub.hold(j, s.Now)
	tub.afresh(j, s.Now)
	s.live(tub, s.Now)
	s.judgeLedger(tub, s.Now)
}

// siftingAgain judges a sifting zone after a jot, for its words to be true at
// once.
func (s *State) siftingAgain(z *zone) {
	if z.spec.Aim == farm.Sifting && !z.moist.At.IsZero() {
		s.judgeSifting(z, z.moist.clock(s.Now))
	}
}

// onlyTub is the only bin that keeps castings, "" where there are several.
func (s *State) onlyTub() string {
	only := ""
	for _, z := range s.tubs() {
		if only != "" && only != z.who.Bin {
			return ""
		}
		only = z.who.Bin
	}
	return only
}

// tubs are the zones in which castings are kept.
func (s *State) tubs() []*zone {
	return those(s.zones, func(z *zone) bool { return z.spec.Aim == farm.Keeping })
}

// tub finds the keeping zone of a bin; a zone named with it is not asked for.
func (s *State) tub(bin string) *zone {
	bin, _, _ = strings.Cut(bin, "/")
	return first(s.tubs(), func(z *zone) bool { return z.who.Bin == bin })
}

// empty forgets what was in a zone. With an amount only that much went.
func (z *zone) empty(j farm.Jot) {
	h := &z.Husbandry
	if held := z.litres(); j.Litres > 0 && j.Litres < held {
		switch z.spec.Aim {
		case farm.Keeping:
			untold := 0.0
			if z.spec.HoldsL == 0 {
				untold = max(0, held-z.kept()-j.Litres) // what nobody told of goes first
			}
			h.Fill = fill{Known: true, Litres: held - j.Litres, Untold: untold}
			return
		case farm.Sifting:
			h.Sift.take(j.At, j.Litres)
			return
		}
	}
	h.EmptiedAt = later(h.EmptiedAt, j.At)
	// A line written late leaves what came in since.
	before := func(f food) bool { return !f.At.After(j.At) }
	h.Foods, h.Lining = slices.DeleteFunc(h.Foods, before), slices.DeleteFunc(h.Lining, before)
	h.eatAnew()
	h.Cohorts = slices.DeleteFunc(h.Cohorts, func(c cohort) bool { return !c.At.After(j.At) })
	if !h.Given.At.After(j.At) {
		h.Given = watering{}
	}
	if !h.Bedded.At.After(j.At) {
		h.Bedded = bedding{}
	}
	h.Sift.finish(j.At)
	h.Doses.Forget()
	if z.spec.Aim == farm.Keeping {
		h.Fill = fill{Known: true}
		for _, c := range h.Cohorts {
			h.Fill.Litres += c.Litres
		}
	}
}

// takeStock takes it that a tub, or an end that is sifted, holds so much.
func (z *zone) takeStock(j farm.Jot, part float64) {
	h, litres := &z.Husbandry, j.Litres*part
	switch z.spec.Aim {
	case farm.Keeping:
		h.Fill = fill{Known: true, Litres: litres}
	case farm.Sifting:
		h.Sift.Over, h.Sift.TakenL = false, max(0, z.full()-litres)
	}
}

// lift notes that the worms which had hatched by then were taken out of a tub.
func (z *zone) lift(at time.Time) {
	z.Husbandry.LiftedAt = later(z.Husbandry.LiftedAt, at)
	for i := range z.Husbandry.Cohorts {
		for k := range z.Husbandry.Cohorts[i].Parts {
			p := &z.Husbandry.Cohorts[i].Parts[k]
			p.Lifted = p.Lifted || !p.DueFrom.IsZero() && !p.DueFrom.After(at)
		}
	}
}

// A hatch is cocoons of one species that are due, and when they came in.
type hatch struct {
	cohort
	species farm.Species
}

// hatches lists what is due and not lifted, oldest first.
func (s *State) hatches(z *zone, at time.Time) []hatch {
	var out []hatch
	for _, c := range z.Husbandry.Cohorts {
		for _, p := range c.Parts {
			sp, ok := s.farm.SpeciesByID(p.Species)
			if ok && !p.DueFrom.IsZero() && !p.Lifted && at.Sub(p.DueFrom) < hatchingLasts {
				out = append(out, hatch{c, sp})
			}
		}
	}
	return out
}

func (s *State) judgeHatching(z *zone, at time.Time) {
	s.turn(z.record(farm.Hatching), at, len(s.hatches(z, at)) > 0)
}

func (s *State) sayHatching(z *zone, at time.Time) saying {
	due := s.hatches(z, at)
	var names []string
	young := 0.0
	for _, h := range due {
		if !slices.Contains(names, h.species.Name) {
			names = append(names, h.species.Name)
		}
		young = max(young, h.species.Cocoon.Hatchlings)
	}
	text := fmt.Sprintf("%s: cocoons of %s that came in with the castings of %s are due to hatch.",
		s.place(z.who), farm.SayList(names), s.farm.Dates().Day(due[0].At, at)) + s.sayAssumed(due[0].Reckoned, at)
	do := "Give a handful of fine feed, and lift grown worms out when you see them."
	if fed := z.lastFood().At; !fed.IsZero() && at.Sub(fed) < handfulLasts {
		do = "Lift grown worms out when you see them."
	}
	return saying{Text: text, Advice: &farm.Advice{Hatchlings: young, Do: do}}
}

// hatchIn forecasts the next hatching of a tub at the temperature it has now.
func (s *State) hatchIn(z *zone, at time.Time) (time.Time, bool) {
	soonest := math.Inf(1)
	warmth, known := z.warmth()
	for _, c := range z.Husbandry.Cohorts {
		for _, p := range c.Parts {
			if sp, ok := s.farm.SpeciesByID(p.Species); ok && p.DueFrom.IsZero() && known {
				soonest = min(soonest, husbandry.HatchDueIn(sp, p.Done, warmth))
			}
		}
	}
	return inDays(soonest, at)
}

// inDays is the time so many days after at; ok is false where that is past any
// forecast.
func inDays(days float64, at time.Time) (t time.Time, ok bool) {
	if days > 366 {
		return time.Time{}, false
	}
	return at.Add(time.Duration(days * 24 * float64(time.Hour))), true
}
