package husbandry

import (
	"math"
	"slices"
	"sort"
	"strings"

	"binwatchd/internal/farm"
)

// otherFoodDays is the pace of a food whose kind is not in the table. A choice.
const otherFoodDays = 21

// Feeds gives the kinds of food known from the start and how many days each
// lasts worms at full activity, in a fixed order. Common practice, no source:
// whole grain fed at 65 °F is still being eaten two months on, soft fruit is
// gone in a week or two. A keeper may overrule each, and `finished` jots
// teach the true pace.
func Feeds() []farm.Feed {
	return []farm.Feed{
		{Kind: "mash", Days: 7}, // finely ground feed
		{Kind: "fruit", Days: 10},
		{Kind: "scraps", Days: 14},
		{Kind: "coffee", Days: 20},
		{Kind: "manure", Days: 30},
		{Kind: "grain", Days: 60},
		{Kind: "paper", Days: 45},
		{Kind: "cardboard", Days: 60},
		{Kind: "leaves", Days: 90},
		{Kind: "straw", Days: 90},
	}
}

// FeedOf finds the pace of a kind of food, letter case aside: in the farm's
// own table, else in [Feeds]. known is false for any other kind, which is
// taken to last three weeks.
func FeedOf(f *farm.Farm, kind string) (feed farm.Feed, known bool) {
	for _, table := range [][]farm.Feed{f.Feeds, Feeds()} {
		for _, feed := range table {
			if strings.EqualFold(feed.Kind, kind) {
				return feed, true
			}
		}
	}
	return farm.Feed{Kind: kind, Days: otherFoodDays}, false
}

// beddings are what worms live in and eat at last, and how it comes; neither is food.
var (
	beddings = []string{
		"bedding", "paper", "newspaper", "newsprint", "cardboard", "carton", "cartons", "card", "leaves", "leaf", "straw", "hay",
		"sawdust", "wood", "woodchips", "chips", "shavings", "bark", "twigs", "coir", "peat",
	}
	beddingIs = []string{"shredded", "torn", "dry", "dried", "dead", "fallen", "autumn", "old", "wet", "damp", "soaked", "brown", "corrugated", "egg", "leaf", "pine", "oak", "coconut"}
)

// IsBedding tells whether a kind is bedding or woody, "torn cardboard" as well as
// "cardboard": worms live in it, and it is no food that could be used up. "Cabbage
// leaves" are food.
func IsBedding(kind string) bool {
	words := strings.Fields(strings.ToLower(kind))
	named := false
	for _, w := range words {
		is := slices.Contains(beddings, w)
		if !is && !slices.Contains(beddingIs, w) {
			return false
		}
		named = named || is
	}
	return named
}

const (
	// eatenKgPerKg is what a kg of worms at full activity eats in a day, kg.
	// The Alabama extension has it 25 to 50 % of their mass; the middle of that is
	// taken to hold at 20 °C, where bins usually stand and red worms are at 0.87 of
	// their activity. The most that was measured, of finely divided feed, is 0.75:
	// Ndegwa, Thompson & Das 2000, Bioresour Technol 71:5–12.
	eatenKgPerKg = 0.43

	// NearlyEaten is the part of a feeding below which the next one is due. A
	// choice.
	NearlyEaten = 0.15

	// rotPart is the part of a kind's pace that goes on without any worm: microbes
	// alone. A choice: it leaves half of a feed of scraps after two months at 20 °C.
	rotPart = 0.07

	// crowdKgPerKg is how much food there must be a kg of worms, kg, for its pace to
	// lie half-way between that of a trifle among very many worms and that of
	// plenty: what one worm eats depends on food a worm, as in Contois (1959, J Gen
	// Microbiol 21:40–50; from memory). The figure is a choice.
	crowdKgPerKg = 0.6

	// usualKgPerKg is the food a kg of worms from which on the paces of [Feeds]
	// hold, kg: their own mass. A choice.
	usualKgPerKg = 1

	// goneBelow is the part of a feeding that nobody would find again. A choice.
	goneBelow = 0.05

	// tooMuch is how many times over the food asks for more than the worms can eat
	// where it is too much for them: it lies more than twice as long as usual. A choice.
	tooMuch = 2

	// fullFeedActivity is the activity from which a full feed is taken: that of
	// red worms at about 65 °F, where a monthly feed is right. Common
	// practice, no source.
	fullFeedActivity = 0.75

	smallestFeed = 0.25 // of the usual one, in the cold; a choice
)

// A Meal is one feeding as it lies in a bin. It shrinks by a half-life of its own,
// reckoned in days of its kind's pace: those go by as fast as the worms and microbes
// of the bin together can work, for all its meals alike. See [Eaters.Eat].
type Meal struct {
	Kg    float64 // as given; 0: not known
	Days  float64 // of full activity that a usual feeding of its kind lasts
	Eaten float64 // days of that pace that have gone by
}

// Left is the part of it that is left after so many days more, 0 to 1; 0 where hardly
// anything is. What of a kind is soft enough to be eaten goes in proportion to what
// there is of it (first order, as matter usually rots), so that it is nearly eaten
// when [NearlyEaten] of its days are left.
func (m Meal) Left(more float64) float64 {
	if !(m.Days > 0) {
		return 0
	}
	left := math.Exp(-m.perDay() * (m.Eaten + more))
	if left < goneBelow {
		return 0
	}
	return left
}

// perDay is the part of what is left that goes in a day of the pace.
func (m Meal) perDay() float64 { return logNearly / m.DueAfter() }

const (
	logNearly = 1.897119984885881             // ln(1/NearlyEaten)
	goneAfter = 2.995732273553991 / logNearly // ln(1/goneBelow) over that
)

// DueAfter is the days of the pace after which it is nearly eaten.
func (m Meal) DueAfter() float64 { return (1 - NearlyEaten) * m.Days }

// Eaters are what eats at the meals of a bin.
type Eaters struct {
	WormsKg  float64 // 0: not known, and as many as the food asks for
	Activity float64 // of the worms, 0 to 1
	TempC    float64
}

// pace is how many days of every meal's own pace go by in a day, after so many
// have. All meals of a bin share what its worms can eat, oldest and newest alike, in
// proportion to what of each is soft enough; microbes rot them all the while.
func (e Eaters) pace(meals []Meal, after float64) float64 {
	byWorms, over := e.share(meals, after)
	return byWorms/max(1, over)*e.Activity + rotPart*rotting(e.TempC)
}

// Overfed tells whether the meals are too much for so many worms. What their number
// is nobody may know; then it says nothing.
func (e Eaters) Overfed(meals []Meal) bool {
	_, over := e.share(meals, 0)
	return over > tooMuch
}

// share is the worms' part of the pace at full activity, if only they were many
// enough, and how many times more than they can eat that would be: 0 where it is not
// known how many they are.
func (e Eaters) share(meals []Meal, after float64) (byWorms, over float64) {
	kg, wanted, weighed := 0.0, 0.0, true
	for _, m := range meals {
		left := m.Left(after)
		kg += m.Kg * left
		wanted += m.Kg * left * m.perDay()
		weighed = weighed && (m.Kg > 0 || left == 0)
	}
	byWorms = 1 - rotPart
	if !(e.WormsKg > 0) {
		return byWorms, 0
	}
	if weighed { // quicker than usual where little food lies among many worms
		byWorms = max(1, (crowdKgPerKg+usualKgPerKg)/(crowdKgPerKg+kg/e.WormsKg)) - rotPart
	}
	return byWorms, byWorms * wanted / (eatenKgPerKg * e.WormsKg)
}

// rotting is how fast microbes work at a temperature, 1 at 20 °C: twice as fast for
// every 10 K (Q10 = (r2/r1)^(10/(T2−T1)), 2 being usual for what lives), and not in
// frost.
func rotting(tempC float64) float64 {
	if tempC <= 0 {
		return 0
	}
	return math.Exp2((min(tempC, 45) - 20) / 10)
}

// eatStep is the longest step, in days, in which meals are eaten: short against the
// days that the quickest of them lasts.
const eatStep = 3.0 / 24

// Eat is how many days of every meal's pace go by in so many days. Worms whose mass
// is not known keep the pace of the table, at their activity. That they eat in
// proportion to activity is a choice: no measured curve of intake against
// temperature was found.
func (e Eaters) Eat(meals []Meal, days float64) float64 {
	gone := 0.0
	for days > 0 {
		step := min(days, eatStep)
		half := gone + e.pace(meals, gone)*step/2 // the midpoint rule
		gone += e.pace(meals, half) * step
		days -= step
	}
	return gone
}

// AllNearlyEaten tells whether so many days of their paces on meals are nearly eaten:
// together, of the kg that lay there when the last of them came; one by one where that
// is 0, for not all were weighed.
func AllNearlyEaten(meals []Meal, after, lay float64) bool {
	left := 0.0
	for _, m := range meals {
		part := m.Left(after)
		if lay == 0 && part > NearlyEaten {
			return false
		}
		left += m.Kg * part
	}
	return lay == 0 || left <= NearlyEaten*lay
}

// DueIn is in how many days meals will be nearly eaten at this pace, as
// [AllNearlyEaten] has it: 0 when they are, +Inf where nothing goes on.
func (e Eaters) DueIn(meals []Meal, lay float64) float64 {
	due := 0.0
	for _, m := range meals {
		due = max(due, m.DueAfter()-m.Eaten)
	}
	if lay > 0 {
		const fine = 4096 // parts of the longest that one of them can last
		last := due
		for _, m := range meals {
			last = max(last, goneAfter*m.DueAfter()-m.Eaten)
		}
		due = last / fine * float64(sort.Search(fine, func(i int) bool { return AllNearlyEaten(meals, last/fine*float64(i), lay) }))
	}
	const parts = 64
	days, part := 0.0, due/parts
	for i := range parts {
		days += daysFor(part, e.pace(meals, (float64(i)+0.5)*part))
	}
	return days
}

// NextFeed is how much to feed next, kg: the usual amount, smaller in the
// cool in proportion to activity, and no more than the worms can eat in its
// days; wormsKg 0 means not known.
func NextFeed(usualKg, activity, wormsKg float64, feed farm.Feed) float64 {
	kg := usualKg * min(1, max(smallestFeed, activity/fullFeedActivity))
	if wormsKg > 0 && feed.Days > 0 {
		kg = min(kg, eatenKgPerKg*wormsKg*feed.Days)
	}
	return kg
}

const pacesKept = 5

// A PaceLearner learns how long one kind of food lasts in one bin, from
// `finished` jots. The zero value has learned nothing.
type PaceLearner struct{ Days []float64 }

// Finish takes in that a feeding was seen to be eaten after so many days of
// full activity. It tells whether that taught anything: more than four times
// off the table's pace is more likely a forgotten jot.
func (l *PaceLearner) Finish(activeDays, tableDays float64) bool {
	if !(activeDays >= tableDays/4 && activeDays <= tableDays*4) {
		return false
	}
	l.Days = append(l.Days, activeDays)
	l.Days = slices.Delete(l.Days, 0, max(0, len(l.Days)-pacesKept))
	return true
}

// Pace gives the days of full activity that the food lasts: the median of
// what was seen, with the table's pace counting as one sighting more.
func (l PaceLearner) Pace(tableDays float64) float64 {
	n := float64(len(l.Days))
	if n == 0 {
		return tableDays
	}
	seen := slices.Sorted(slices.Values(l.Days))
	median := (seen[(len(seen)-1)/2] + seen[len(seen)/2]) / 2
	return (tableDays + n*median) / (n + 1)
}
