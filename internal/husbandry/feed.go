package husbandry

import (
	"slices"
	"strings"

	"binwatchd/internal/farm"
)

// otherFoodDays is the pace of a food whose kind is not in the table.
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
	for _, feed := range slices.Concat(f.Feeds, Feeds()) {
		if strings.EqualFold(feed.Kind, kind) {
			return feed, true
		}
	}
	return farm.Feed{Kind: kind, Days: otherFoodDays}, false
}

const (
	// eatenKgPerKg is the most finely divided feed that a kg of worms turns
	// into castings in a day, kg: Ndegwa, Thompson & Das 2000, Bioresour
	// Technol 71:5–12. A ceiling, not the pace of a bin fed whole food.
	eatenKgPerKg = 0.75

	// NearlyEaten is the part of a feeding below which the next one is due. A
	// choice.
	NearlyEaten = 0.15

	// fullFeedActivity is the activity from which a full feed is taken: that of
	// red worms at about 65 °F, where a monthly feed is right. Common
	// practice, no source.
	fullFeedActivity = 0.75

	smallestFeed = 0.25 // of the usual one, in the cold; a choice
)

// EatDays is how many days of full activity a feeding lasts: the pace of its
// kind, or longer where so many worms cannot eat so much: 0.75 kg of feed per
// kg of worms and day (Ndegwa, Thompson & Das 2000) is the ceiling. 0 kg, or 0
// kg of worms, means not known and leaves the pace.
func EatDays(feed farm.Feed, kg, wormsKg float64) float64 {
	if kg > 0 && wormsKg > 0 {
		return max(feed.Days, kg/(eatenKgPerKg*wormsKg))
	}
	return feed.Days
}

// FeedLeft is the part of a feeding not yet eaten, 0 to 1, after so many days
// of full activity (the integral of activity over days since it was fed). That
// food goes at a pace in proportion to activity is a choice: no measured
// curve of intake against temperature was found.
func FeedLeft(eatDays, activeDays float64) float64 {
	if !(eatDays > 0) {
		return 0
	}
	return min(1, max(0, 1-activeDays/eatDays))
}

// FeedDueIn is in how many days a feeding will be nearly eaten at a steady
// activity; it is 0 when it is so already and +Inf at no activity.
func FeedDueIn(eatDays, activeDays, activity float64) float64 {
	return daysFor(eatDays*(1-NearlyEaten)-activeDays, activity)
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
