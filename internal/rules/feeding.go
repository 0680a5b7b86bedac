package rules

import (
	"cmp"
	"fmt"
	"slices"
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

// A food is one feeding, or bedding that was given as one.
type food struct {
	At       time.Time
	Kg       float64
	Of       string
	Over     time.Time // the keeper saw it eaten; zero: not yet
	Eaten    float64   // days of its own pace that have gone by
	Reckoned reckoning
}

// bedding tells whether it is nothing that feeds.
func (f food) bedding() bool { return husbandry.IsBedding(f.Of) }

const (
	// maxFoods bounds what is remembered of feedings: two months of daily ones.
	maxFoods = 64
	// foodKept is how long a feeding is remembered when it is eaten, for lines that
	// are written late: it had its part of what the worms could eat.
	foodKept = pastSteps * pastStep
	// oneVisit is how far apart feedings of one kind count as one amount.
	oneVisit = time.Hour
)

// feed takes a feeding in, oldest first, whenever it was jotted.
func (s *State) feed(z *zone, j farm.Jot, part float64) {
	h := &z.Husbandry
	if j.At.Before(h.EmptiedAt) {
		return // it was thrown out since
	}
	fed := food{At: j.At, Kg: j.Kg * part, Of: j.Of, Reckoned: reckoning{Upto: j.At}}
	h.Foods = keepNewest(h.Foods, fed, maxFoods, func(a, b food) int { return a.At.Compare(b.At) })
	if fed.bedding() {
		return // worms live in it
	}
	h.Fed = true
	h.usual()
	if h.Eating.Upto.IsZero() || j.At.Before(h.Eating.Upto) {
		h.eatAnew()
	}
}

// usual is what a keeper gives: the kind that was fed last, and as much of it as came
// in at one visit.
func (h *husbandryMemory) usual() {
	var last, weighed *food
	for i := range h.Foods {
		if f := &h.Foods[i]; !f.bedding() {
			last = f
			if f.Kg > 0 {
				weighed = f
			}
		}
	}
	if last != nil {
		h.UsualOf = last.Of
	}
	if weighed == nil {
		return
	}
	h.UsualKg = 0
	for _, f := range h.Foods {
		if f.Of == weighed.Of && weighed.At.Sub(f.At) <= oneVisit {
			h.UsualKg += f.Kg
		}
	}
}

// eatAnew begins to reckon food again from the first feeding that is remembered: all
// meals of a bin share what its worms can eat, so one more of them changes what was
// left of the others.
func (h *husbandryMemory) eatAnew() {
	h.Eating = reckoning{}
	for i := range h.Foods {
		f := &h.Foods[i]
		f.Eaten, f.Reckoned = 0, reckoning{Upto: f.At}
		if h.Eating.Upto.IsZero() && !f.bedding() {
			h.Eating.Upto = f.At
		}
	}
}

// eat lets food be eaten up to the zone's time at, and bedding rot.
func (s *State) eat(z *zone, at time.Time) {
	h := &z.Husbandry
	if len(h.Foods) == 0 {
		return
	}
	var meals [maxFoods]husbandry.Meal // of each food
	for i := range h.Foods {
		meals[i] = s.meal(z, h.Foods[i])
	}
	if !h.Eating.Upto.IsZero() {
		h.Eating.through(&h.Past, at, func(t stretch) { s.share(z, meals[:], t) })
	}
	for i := range h.Foods {
		f := &h.Foods[i]
		if !f.bedding() {
			continue
		}
		f.Reckoned.through(&h.Past, at, func(t stretch) {
			alone := s.eaters(z, t.TempC, t.MoistPct)
			alone.WormsKg = 0 // it takes nothing from the food
			f.Eaten += alone.Eat(nil, t.days())
		})
	}
}

// share lets the meals that lie in a zone in a stretch be eaten together, piece by
// piece as feedings come and are over.
func (s *State) share(z *zone, meals []husbandry.Meal, t stretch) {
	foods := z.Husbandry.Foods
	var lying [maxFoods]husbandry.Meal
	for end := t.To; t.From.Before(end); t.From = t.To {
		t.To = end
		n := 0
		for i, f := range foods {
			for _, turn := range []time.Time{f.At, f.Over} {
				if turn.After(t.From) && turn.Before(t.To) {
					t.To = turn
				}
			}
			if f.lies(t.From) {
				meals[i].Eaten = f.Eaten
				lying[n] = meals[i]
				n++
			}
		}
		gone := s.eaters(z, t.TempC, t.MoistPct).Eat(lying[:n], t.days())
		for i := range foods {
			if f := &foods[i]; f.lies(t.From) {
				f.Eaten += gone
				f.Reckoned.take(t)
			}
		}
	}
}

// lies tells whether it is food that lies in the bin from a time on.
func (f food) lies(from time.Time) bool {
	return !f.bedding() && !f.At.After(from) && (f.Over.IsZero() || f.Over.After(from))
}

// meal is a food as those who eat it find it.
func (s *State) meal(z *zone, f food) husbandry.Meal {
	feed, _ := husbandry.FeedOf(s.farm, f.Of)
	return husbandry.Meal{Kg: f.Kg, Days: z.Husbandry.Paces[f.Of].Pace(feed.Days), Eaten: f.Eaten}
}

// left is the part of a food that is left, 0 to 1.
func (s *State) left(z *zone, f food) float64 {
	if !f.Over.IsZero() {
		return 0
	}
	return s.meal(z, f).Left(0)
}

// eaters are the worms of a zone at a temperature and a moisture.
func (s *State) eaters(z *zone, tempC, moistPct float64) husbandry.Eaters {
	return husbandry.Eaters{
		WormsKg: z.wormsKg(), Activity: husbandry.BinActivity(s.farm, *z.bin.spec, tempC, moistPct), TempC: tempC,
	}
}

// wormsKg is the mass of a zone's worms; 0 when it is not known.
func (z *zone) wormsKg() float64 { return z.bin.spec.WormsKg * z.spec.Share }

// finish takes it that a food, or the oldest one that is not eaten, is finished, and
// learns its pace from that. Of a sifting zone it is the word that all is sifted.
func (s *State) finish(z *zone, j farm.Jot) {
	h := &z.Husbandry
	if z.spec.Aim == farm.Sifting {
		h.Sift.finish(j.At)
		return
	}
	i, eaten, known := s.finished(z, j)
	if i < 0 {
		return
	}
	f := &h.Foods[i]
	if f.Over = j.At; !j.Uncertain && known {
		if h.Paces == nil {
			h.Paces = map[string]husbandry.PaceLearner{}
		}
		feed, _ := husbandry.FeedOf(s.farm, f.Of)
		pace := h.Paces[f.Of]
		pace.Finish(eaten, feed.Days)
		h.Paces[f.Of] = pace
	}
	h.eatAnew()
}

// finished finds the food that a jot means, as things were at its time: the first
// that was not eaten, else the last. eaten is how many days of its pace had gone by,
// and known whether that stands on measured temperatures.
func (s *State) finished(z *zone, j farm.Jot) (i int, eaten float64, known bool) {
	h := &z.Husbandry
	foods, eating := h.Foods, h.Eating
	h.Foods = slices.Clone(foods)
	h.eatAnew()
	s.eat(z, j.At)
	i = -1
	for k, f := range h.Foods {
		if !f.finishes(j) {
			continue
		}
		i, eaten, known = k, f.Eaten, f.Reckoned.Assumed < j.At.Sub(f.At)/2
		if s.left(z, f) > 0 {
			break
		}
	}
	h.Foods, h.Eating = foods, eating
	return i, eaten, known
}

// finishes tells whether a jot can mean a food.
func (f food) finishes(j farm.Jot) bool {
	return !f.At.After(j.At) && f.Over.IsZero() && (f.Of == j.Of || j.Of == "" && !f.bedding())
}

// feedIsDue tells whether all that was fed is nearly eaten, bedding aside.
func (s *State) feedIsDue(z *zone) bool {
	return !slices.ContainsFunc(z.Husbandry.Foods, func(f food) bool { return !f.bedding() && s.left(z, f) > husbandry.NearlyEaten })
}

// feedDueAt forecasts the next feed at the activity of now, in words that tell when
// there is more food than the worms manage: that sours, and heats.
func (s *State) feedDueAt(z *zone, at time.Time) (due time.Time, text string, ok bool) {
	var meals []husbandry.Meal
	for _, f := range z.Husbandry.Foods {
		if f.lies(at) {
			meals = append(meals, s.meal(z, f))
		}
	}
	warmth, known := z.warmth()
	if len(meals) == 0 || !known {
		return time.Time{}, "", false
	}
	eaters := s.eaters(z, warmth, z.moisture())
	due, ok = inDays(eaters.DueIn(meals), z.Husbandry.Eating.Upto)
	text = "next feed due about " + farm.SayDay(due, at, s.farm.Location)
	if eaters.Overfed(meals) {
		text += "; there is more food than so many worms manage, so give none before"
	}
	return due, text, ok
}

// viewFood lists what is left, and of what is eaten the last feeding.
func (s *State) viewFood(z *zone) (out []farm.FoodView) {
	last := z.lastFood()
	for _, f := range z.Husbandry.Foods {
		if left := s.left(z, f); left > 0 || f.At.Equal(last.At) && f.Over.IsZero() {
			out = append(out, farm.FoodView{At: f.At, Kg: f.Kg, Of: f.Of, LeftPart: left})
		}
	}
	return out
}

// lastFood is the newest food that is not known to be finished; empty where there is
// none.
func (z *zone) lastFood() (last food) {
	for _, f := range z.Husbandry.Foods {
		if !f.bedding() && f.Over.IsZero() {
			last = f
		}
	}
	return last
}

// judgeFeeding raises feed-due when what was jotted is nearly eaten. Nothing
// jotted means nothing known: then it says nothing.
func (s *State) judgeFeeding(z *zone, at time.Time) {
	if z.spec.Aim != farm.Living || !z.Husbandry.Fed {
		return
	}
	// What was eaten long ago is forgotten, but the last feeding: its absence is what is due.
	h := &z.Husbandry
	last := z.lastFood().At
	h.Foods = slices.DeleteFunc(h.Foods, func(f food) bool {
		return at.Sub(f.At) > foodKept && !f.At.Equal(last) && s.left(z, f) == 0
	})
	s.turn(z.record(farm.FeedDue), at, s.feedIsDue(z) && !s.holdsBack(z))
}

// holdsBack tells whether feeding now would do harm.
func (s *State) holdsBack(z *zone) bool {
	warmth, known := z.warmth()
	hottest, coldest := warmth, warmth
	if !z.temp.At.IsZero() {
		hottest, coldest = z.temp.High.Value, z.temp.Low.Value
	}
	return !known || hottest > z.temp.above.harm() || coldest < z.temp.below.harm() || z.record(farm.Heating).raised()
}

func (s *State) sayFeed(z *zone, at time.Time) saying {
	h := &z.Husbandry
	feed, _ := husbandry.FeedOf(s.farm, h.UsualOf)
	kg := husbandry.NextFeed(h.UsualKg, s.activity(z), z.wormsKg(), feed)
	text := fmt.Sprintf("%s has nearly eaten its %s.", s.place(z.who), cmp.Or(h.UsualOf, "food"))
	do := "Feed it and lay fresh bedding with the food."
	switch amount := s.farm.Units.Mass(kg); {
	case kg > 0 && h.UsualOf != "":
		do = fmt.Sprintf("Feed %s of %s and lay fresh bedding with it.", amount, h.UsualOf)
	case kg > 0:
		do = fmt.Sprintf("Feed %s and lay fresh bedding with the food.", amount)
	}
	text += s.sayAssumed(z.lastFood().Reckoned, at)
	if kg > 0 && kg < 0.9*h.UsualKg {
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
	const near = 3 // points under the limit
	return z.moist.Value > z.moist.above.mild()-near && z.temp.Value > 20
}

func (s *State) sayFed(z *zone) string {
	if s.feedIsDue(z) {
		return s.place(z.who) + ": feeding waits until the temperature is right again."
	}
	return s.place(z.who) + " is fed."
}
