package trend

import (
	"math"
	"time"
)

// Water spreads for a day and longer: what a probe says a few hours after the can
// is how much reached its own pocket. So its effect is read over the whole of the
// day after the first, and held against the whole day before: whole days are blind
// to a probe that feels the day's warmth. Choices, on simulated bins
// (scenariotest.Soaking): reading over the two days that follow, or from a day
// and a half on, is no closer, for by then the guess at what has dried counts for more.
const (
	SoakEnds  = 48 * time.Hour // after a watering: all that is read of it is known
	SoakLeast = 40 * time.Hour // enough, where something else was done then

	soakFrom   = 24 // hours after a watering that are left out
	soakBefore = 24 // hours before it that count
	soakKnown  = 3  // hours of a day that must be known
	soakQuiet  = 12 // hours after anything that made a step before a level counts

	// soakStep is a step, points of % from one stretch of four hours to the next, at
	// which somebody watered and wrote nothing down, or the probe lost its contact; the
	// first half day is a step of its own. A choice, on the same bins.
	soakStep    = 2.0
	soakStretch = 4
	soakLooks   = 60 // hours before a watering that are looked through for steps
)

// Soaked reads what a watering did to a zone's moisture, % wet basis: that of the
// moment before and that which it came to, both as if it dried no further. poured is
// when it was given, opened when anything was done before it and until after it;
// the zone loses lossPerDay kg of water per kg dry. ok is false when too little is
// known, and when something else disturbed it.
func Soaked(k *Track, poured, opened, until time.Time, lossPerDay float64) (fromPct, toPct float64, ok bool) {
	quiet, ends := -soakLooks, min(SoakEnds, until.Sub(poured))
	if !opened.IsZero() {
		quiet = max(quiet, int(math.Ceil(opened.Sub(poured).Hours()))+soakQuiet)
	}
	to := int(ends.Hours())
	if ends < SoakLeast || quiet > -soakBefore || k.stepped(poured, quiet, -1) || k.stepped(poured, soakQuiet-soakStretch, to) {
		return 0, 0, false
	}
	loss := max(0, lossPerDay) / 24
	dry, okDry := k.ifUndried(poured, -soakBefore, -1, loss)
	wet, okWet := k.ifUndried(poured, soakFrom, to, loss)
	return 100 * dry / (1 + dry), 100 * wet / (1 + wet), okDry && okWet
}

// ifUndried is the middle of what a zone held over some hours from a moment on, kg
// of water per kg dry, with what it lost between that moment and each hour made good.
func (k *Track) ifUndried(t time.Time, from, to int, lossPerHour float64) (w float64, ok bool) {
	var held []float64
	for h := from; h < to; h++ {
		if pct, ok := k.hour(t, h); ok {
			held = append(held, dryBasis(pct)+lossPerHour*(float64(h)+0.5))
		}
	}
	return Median(held), len(held) >= soakKnown
}

// stepped tells whether the moisture made a step somewhere in some hours from a
// moment on.
func (k *Track) stepped(t time.Time, from, to int) bool {
	stretch := func(h int) float64 {
		var v []float64
		for i := h; i < min(h+soakStretch, to); i++ {
			if pct, ok := k.hour(t, i); ok {
				v = append(v, pct)
			}
		}
		return Median(v)
	}
	for h := from; h+soakStretch < to; h++ {
		if math.Abs(stretch(h+soakStretch)-stretch(h)) > soakStep { // NaN is no step
			return true
		}
	}
	return false
}

// hour is the mean of the hour that lies so many after a moment.
func (k *Track) hour(t time.Time, h int) (pct float64, ok bool) {
	return k.Hours.At(t.Add(time.Duration(h) * time.Hour))
}
