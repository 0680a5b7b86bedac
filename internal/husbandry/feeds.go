package husbandry

import (
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
	for _, table := range [][]farm.Feed{f.Feeds, Feeds()} {
		for _, feed := range table {
			if strings.EqualFold(feed.Kind, kind) {
				return feed, true
			}
		}
	}
	return farm.Feed{Kind: kind, Days: otherFoodDays}, false
}
