package rules

import (
	"cmp"
	"fmt"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// warmth is the zone's temperature, or that of its room where no probe sits in
// the zone; known is false when neither has been heard.
func (z *zone) warmth() (tempC float64, known bool) {
	if !z.temp.At.IsZero() {
		return z.temp.Value, true
	}
	if a := z.bin.ambient; a != nil && !a.GoodAt.IsZero() {
		return a.Good.Value, true
	}
	return 0, false
}

// activity of the worms of a zone at its levels; 0 when they are not known.
func (s *State) activity(z *zone) float64 {
	warmth, known := z.warmth()
	if !known {
		return 0
	}
	return husbandry.BinActivity(s.farm, *z.bin.spec, warmth, z.moisture())
}

// feedIsDue tells whether all that was fed is nearly eaten.
func (s *State) feedIsDue(z *zone) bool {
	meals, lay := s.meals(z)
	return husbandry.AllNearlyEaten(meals, 0, lay)
}

// feedDueAt forecasts the next feed at the activity of now, in words that tell when
// there is more food than the worms manage: that sours, and heats.
func (s *State) feedDueAt(z *zone, at time.Time) (due time.Time, text string, ok bool) {
	meals, lay := s.meals(z)
	warmth, known := z.warmth()
	if len(meals) == 0 || !known {
		return time.Time{}, "", false
	}
	eaters := s.eaters(z, warmth, z.moisture())
	due, ok = inDays(eaters.DueIn(meals, lay), z.Husbandry.Eating.Upto)
	text = "next feed due about " + s.farm.Dates().Day(due, at)
	if eaters.Overfed(meals) {
		text += "; there is more food than so many worms manage, so give none before"
	}
	return due, text, ok
}

// judgeFeeding raises feed-due when what was jotted is nearly eaten. Nothing
// jotted means nothing known: then it says nothing.
func (s *State) judgeFeeding(z *zone, at time.Time) {
	s.forgetFood(z, at)
	if z.spec.Aim != farm.Living || !z.Husbandry.Fed {
		return
	}
	s.turn(z.record(farm.FeedDue), at, s.feedIsDue(z) && !s.holdsBack(z))
}

// holdsBack tells whether feeding now would do harm.
func (s *State) holdsBack(z *zone) bool {
	warmth, known := z.warmth()
	hottest, coldest := warmth, warmth
	if !z.temp.At.IsZero() {
		hottest, coldest = z.temp.High.Value, z.temp.Low.Value
	}
	if _, seen := z.noFood(s.Now); seen {
		return true
	}
	return !known || hottest > z.temp.above.harm() || coldest < z.temp.below.harm() || z.record(farm.Heating).raised()
}

func (s *State) sayFeed(z *zone, at time.Time) saying {
	h := &z.Husbandry
	feed, _ := husbandry.FeedOf(s.farm, h.UsualOf)
	kg := husbandry.NextFeed(h.UsualKg, s.activity(z), z.wormsKg(), feed)
	text := fmt.Sprintf("%s has nearly eaten its %s.", s.place(z.who), cmp.Or(h.UsualOf, "food"))
	few := z.seenLately(fewWorms, halfFood, at)
	if few {
		kg /= 2
	}
	do := "Feed it and lay fresh bedding with the food."
	switch amount := s.farm.Units.Mass(kg); {
	case kg > 0 && h.UsualOf != "":
		do = fmt.Sprintf("Feed %s of %s and lay fresh bedding with it.", amount, h.UsualOf)
	case kg > 0:
		do = fmt.Sprintf("Feed %s and lay fresh bedding with the food.", amount)
	}
	text += s.sayAssumed(z.lastFood().Reckoned, at)
	switch {
	case few:
		text += " Few worms were seen, so half of it is enough."
	case kg > 0 && kg < 0.9*h.UsualKg:
		text += " " + s.whyLess(z)
	}
	if s.wetAndWarm(z) && z.turned(at) == nil {
		do += " It is wet and warm: turn it while you are there."
	}
	return saying{Text: text, Advice: &farm.Advice{FeedKg: kg, FeedOf: h.UsualOf, Do: do}}
}

// whyLess says why a smaller feed is enough.
func (s *State) whyLess(z *zone) string {
	slow := func(why string) string { return why + ", so the worms eat slowly: a smaller feed is enough." }
	warmth, _ := z.warmth()
	best := z.bin.worms[0].Cardinal.Best
	atBest := husbandry.BinActivity(s.farm, *z.bin.spec, warmth, nan)
	switch {
	case atBest < enoughActivity && warmth < best:
		return slow("It is cool")
	case atBest < enoughActivity:
		return slow("It is too warm for them")
	case s.activity(z) < enoughActivity && z.moist.Value < z.moist.below.mild():
		return slow("It is too dry for them")
	case s.activity(z) < enoughActivity:
		return slow("It is too wet for them")
	}
	return "A smaller feed is as much as so many worms can eat."
}

// enoughActivity is the activity from which a full feed is eaten at its usual
// pace: that of red worms at about 65 °F. Common practice, no source.
const enoughActivity = 0.75

// wetAndWarm is when a bed packs down and runs short of air.
func (s *State) wetAndWarm(z *zone) bool {
	const near = 3 // points under the limit; a choice
	return z.moist.Value > z.moist.above.mild()-near && z.temp.Value > 20
}

func (s *State) sayFed(z *zone) string {
	if seen, ok := z.noFood(s.Now); ok && s.feedIsDue(z) {
		return fmt.Sprintf("%s: feeding waits, for it was noted: %s.", s.place(z.who), seen.What)
	}
	if s.feedIsDue(z) {
		return s.place(z.who) + ": feeding waits until the temperature is right again."
	}
	return s.place(z.who) + " is fed."
}
