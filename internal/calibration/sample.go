package calibration

import (
	"errors"
	"math"

	"binwatchd/internal/farm"
)

// A Sample is what a probe said and the truth at that place and time.
type Sample struct {
	Raw    float64
	Value  float64 // °C, % of fresh mass, or V
	Within float64 // how far Value itself may be off
	From   string  // how the truth was found, for a person
}

// A Weighing is one sample weighed fresh and again when it has dried at 105 °C
// until it lost no more, both times in its tin, and the tin alone. Any unit
// will do, the same for all three.
type Weighing struct{ Wet, Dry, Tin float64 }

// Check tells why the weights can't be those of one sample.
func (w Weighing) Check() error {
	if !(w.Tin >= 0 && w.Dry > w.Tin && w.Wet > w.Dry) || math.IsInf(w.Wet, 0) {
		return errors.New("wet must weigh more than dry, and dry more than the empty tin")
	}
	return nil
}

// Moisture is the water in % of the fresh mass, the wet basis, as in TMECC
// 03.09-A and in all of this program.
func (w Weighing) Moisture() float64 { return 100 * (w.Wet - w.Dry) / (w.Wet - w.Tin) }

// DryBasis is the water in % of the dry mass, as ASTM D2216 reports it: for
// comparison with a laboratory's figure.
func (w Weighing) DryBasis() float64 { return 100 * (w.Wet - w.Dry) / (w.Dry - w.Tin) }

// Within is how far Moisture may be off, in points, because the balance shows
// steps of a given size: half a step in each of the three weights, which err
// by themselves.
func (w Weighing) Within(step float64) float64 {
	fresh := w.Wet - w.Tin
	half := step / 2
	byWet := half * (w.Dry - w.Tin) / (fresh * fresh)
	byDry := half / fresh
	byTin := half * (w.Wet - w.Dry) / (fresh * fresh)
	return 100 * math.Sqrt(byWet*byWet+byDry*byDry+byTin*byTin)
}

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
