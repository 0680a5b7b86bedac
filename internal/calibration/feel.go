package calibration

import "binwatchd/internal/farm"

// A Feeling is a word for how material feels and behaves, and the moisture
// that it stands for.
type Feeling struct {
	Word  string
	Says  string
	Range farm.Band // % of fresh mass
}

// FeelSource names where the bounds of the feelings come from.
const FeelSource = "LSU AgCenter 2022"

// Feelings are by rising moisture. The bounds of 15, 35, 40, 44 and 65 % are
// LSU AgCenter's of 2022, for compost: a worm bed that does well lies in the
// last. That the last ends at 90 % is a choice: wetter stuff is mud.
func Feelings() []Feeling {
	return []Feeling{
		{"lifeless", "biology has stopped", farm.Band{Low: 0, High: 15}},
		{"dust", "dust rises sharply", farm.Band{Low: 15, High: 35}},
		{"repellent", "hard to wet again", farm.Band{Low: 35, High: 40}},
		{"dusty", "a little dusty", farm.Band{Low: 40, High: 44}},
		{"moist", "neither dusty nor airless", farm.Band{Low: 44, High: 65}},
		{"airless", "wet, airless, smells", farm.Band{Low: 65, High: 90}},
	}
}

// FeelingOf finds a feeling by its word.
func FeelingOf(word string) (f Feeling, ok bool) {
	for _, f := range Feelings() {
		if f.Word == word {
			return f, true
		}
	}
	return Feeling{}, false
}
