package rules

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// A food is one feeding, or bedding that was given as one.
type food struct {
	At       time.Time
	Kg       float64
	Of       string
	Lay      float64   // kg of food in the bin once it was there; 0: not reckoned yet
	Over     time.Time // the keeper saw it eaten; zero: not yet
	Eaten    float64   // days of its own pace that have gone by
	Reckoned reckoning
}

const (
	// maxFoods bounds what is remembered of feedings: two months of daily ones.
	maxFoods   = 64
	maxBedding = 16
	// foodKept is how long a feeding is remembered when it is eaten, for lines that
	// are written late: it had its part of what the worms could eat.
	foodKept = pastSteps * pastStep
	// oneVisit is how far apart feedings of one kind count as one amount.
	oneVisit = time.Hour
)

// feed takes a feeding in, oldest first, whenever it was jotted. Bedding that was
// given as one is kept apart: worms live in it, and it says nothing about food.
func (s *State) feed(z *zone, j farm.Jot, part float64) {
	h := &z.Husbandry
	if j.At.Before(h.EmptiedAt) {
		return // it was thrown out since
	}
	fed := food{At: j.At, Kg: j.Kg * part, Of: j.Of, Reckoned: reckoning{Upto: j.At}}
	byTime := func(a, b food) int { return a.At.Compare(b.At) }
	if husbandry.IsBedding(j.Of) {
		h.Lining = keepNewest(h.Lining, fed, maxBedding, byTime)
		return
	}
	h.Fed = true
	h.Foods = keepNewest(h.Foods, fed, maxFoods, byTime)
	h.usual()
	if h.Eating.Upto.IsZero() || j.At.Before(h.Eating.Upto) {
		h.eatAnew()
	}
}

// usual is what a keeper gives: the kind that was fed last, and as much of it as came
// in at one visit.
func (h *husbandryMemory) usual() {
	var weighed food
	for _, f := range h.Foods {
		h.UsualOf = f.Of
		if f.Kg > 0 {
			weighed = f
		}
	}
	if weighed.Kg == 0 {
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
	if len(h.Foods) > 0 {
		h.Eating.Upto = h.Foods[0].At
	}
	for i := range h.Foods {
		f := &h.Foods[i]
		f.Eaten, f.Lay, f.Reckoned = 0, 0, reckoning{Upto: f.At}
	}
}

// eat lets food be eaten up to the zone's time at, and bedding rot.
func (s *State) eat(z *zone, at time.Time) {
	h := &z.Husbandry
	for i := range h.Lining {
		s.rot(z, &h.Lining[i], at)
	}
	if len(h.Foods) == 0 {
		return
	}
	var meals [maxFoods]husbandry.Meal // of each food
	for i, f := range h.Foods {
		meals[i] = s.meal(z, f)
	}
	h.Eating.through(&h.Past, at, func(t stretch) { s.share(z, meals[:], t) })
}

// rot lets bedding go at its pace, which takes nothing from the food.
func (s *State) rot(z *zone, f *food, at time.Time) {
	f.Reckoned.through(&z.Husbandry.Past, at, func(t stretch) {
		alone := s.eaters(z, t.TempC, t.MoistPct)
		alone.WormsKg = 0
		f.Eaten += alone.Eat(nil, t.days())
	})
}

// share lets the meals that lie in a zone in a stretch be eaten together, piece by
// piece as feedings come and are over.
func (s *State) share(z *zone, meals []husbandry.Meal, t stretch) {
	foods := z.Husbandry.Foods
	var lying [maxFoods]husbandry.Meal
	for end := t.To; t.From.Before(end); t.From = t.To {
		t.To = end
		n, kg := 0, 0.0
		for i, f := range foods {
			for _, turn := range []time.Time{f.At, f.Over} {
				if turn.After(t.From) && turn.Before(t.To) {
					t.To = turn
				}
			}
			if f.lies(t.From) {
				meals[i].Eaten = f.Eaten
				lying[n] = meals[i]
				kg += f.Kg * meals[i].Left(0)
				n++
			}
		}
		for i := range foods {
			if f := &foods[i]; f.Lay == 0 && f.lies(t.From) {
				f.Lay = kg
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

// lies tells whether a food lies in the bin from a time on.
func (f food) lies(from time.Time) bool {
	return !f.At.After(from) && (f.Over.IsZero() || f.Over.After(from))
}

// meal is a food as those who eat it find it.
func (s *State) meal(z *zone, f food) husbandry.Meal {
	feed, _ := husbandry.FeedOf(s.farm, f.Of)
	return husbandry.Meal{Kg: f.Kg, Days: z.Husbandry.Paces[f.Of].Pace(feed.Days), Eaten: f.Eaten}
}

// meals are the foods that lie in a zone, and how many kg lay there when the last of
// them came; 0 where not all were weighed.
func (s *State) meals(z *zone) (meals []husbandry.Meal, lay float64) {
	weighed := true
	for _, f := range z.Husbandry.Foods {
		if f.Over.IsZero() {
			meals = append(meals, s.meal(z, f))
			weighed = weighed && (f.Kg > 0 || s.left(z, f) == 0)
			lay = max(f.Lay, f.Kg)
		}
	}
	if !weighed {
		lay = 0
	}
	return meals, lay
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

// lastFood is the newest food that is not known to be finished; empty where there is
// none.
func (z *zone) lastFood() (last food) {
	for _, f := range z.Husbandry.Foods {
		if f.Over.IsZero() {
			last = f
		}
	}
	return last
}

// forgetFood drops what was eaten long ago, but the last feeding: its absence is what
// is due.
func (s *State) forgetFood(z *zone, at time.Time) {
	h, last := &z.Husbandry, z.lastFood().At
	h.Foods = slices.DeleteFunc(h.Foods, func(f food) bool {
		return at.Sub(f.At) > foodKept && !f.At.Equal(last) && s.left(z, f) == 0
	})
	h.Lining = slices.DeleteFunc(h.Lining, func(f food) bool { return s.left(z, f) == 0 })
}

// finish takes it that a food, or the oldest one that is not eaten, is finished, and
// learns its pace from that. Of a sifting zone it is the word that all is sifted.
func (s *State) finish(z *zone, j farm.Jot) {
	h := &z.Husbandry
	if z.spec.Aim == farm.Sifting {
		h.Sift.finish(j.At)
		return
	}
	if i := slices.IndexFunc(h.Lining, func(f food) bool { return f.meantBy(j) }); i >= 0 && j.Of != "" {
		then := food{At: h.Lining[i].At, Of: j.Of, Reckoned: reckoning{Upto: h.Lining[i].At}} // reckoned anew, up to the jot
		s.rot(z, &then, j.At)
		s.learnPace(z, j, then)
		h.Lining = slices.Delete(h.Lining, i, i+1)
		return
	}
	i, then := s.finished(z, j)
	if i < 0 {
		return
	}
	s.learnPace(z, j, then)
	h.Foods[i].Over = j.At
	h.eatAnew()
}

// learnPace learns how long a kind of food lasts from one that is finished, as it stood
// at the jot's time, if that stands on measured temperatures.
func (s *State) learnPace(z *zone, j farm.Jot, then food) {
	if j.Uncertain || then.Reckoned.Assumed >= j.At.Sub(then.At)/2 {
		return
	}
	h := &z.Husbandry
	if h.Paces == nil {
		h.Paces = map[string]husbandry.PaceLearner{}
	}
	feed, _ := husbandry.FeedOf(s.farm, then.Of)
	pace := h.Paces[then.Of]
	pace.Finish(then.Eaten, feed.Days)
	h.Paces[then.Of] = pace
}

// finished finds the food that a jot means, as it stood at the jot's time: the first
// that was not eaten, else the last; i is -1 where there is none.
func (s *State) finished(z *zone, j farm.Jot) (i int, then food) {
	h := &z.Husbandry
	foods, eating := h.Foods, h.Eating
	h.Foods = slices.Clone(foods)
	h.eatAnew()
	s.eat(z, j.At)
	i = -1
	for k, f := range h.Foods {
		if !f.meantBy(j) {
			continue
		}
		if i, then = k, f; s.left(z, f) > 0 {
			break
		}
	}
	h.Foods, h.Eating = foods, eating
	return i, then
}

// meantBy tells whether a jot that something is finished can mean a food.
func (f food) meantBy(j farm.Jot) bool {
	return !f.At.After(j.At) && f.Over.IsZero() && (j.Of == "" || f.Of == j.Of)
}

// viewFood lists what is left, and of what is eaten the last feeding.
func (s *State) viewFood(z *zone) (out []farm.FoodView) {
	last := z.lastFood()
	for _, f := range slices.Concat(z.Husbandry.Foods, z.Husbandry.Lining) {
		if left := s.left(z, f); left > 0 || f.At.Equal(last.At) && f.Over.IsZero() {
			out = append(out, farm.FoodView{At: f.At, Kg: f.Kg, Of: f.Of, LeftPart: left})
		}
	}
	slices.SortStableFunc(out, func(a, b farm.FoodView) int { return a.At.Compare(b.At) })
	return out
}
