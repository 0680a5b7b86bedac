package calibration

import (
	"errors"
	"math"
)

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
