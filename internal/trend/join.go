package trend

import (
	"math"
	"slices"
)

const (
	leastStep = 1.5 // points; a smaller step of a probe's contact is left in
	mostSteps = 4
	stepReach = 4 // h to either side that a step is measured over
)

// joined takes steps out of hourly moistures: what came before a step is moved
// to meet what comes after. A probe that settles or is knocked steps from one
// hour to the next; water leaves a zone slowly. The newest level stands.
func joined(hours []float64) []float64 {
	if len(hours) < dryLeast {
		return hours
	}
	out := append([]float64(nil), hours...)
	for range mostSteps {
		at, step := biggestStep(out)
		if at < 0 {
			break
		}
		for i := range out[:at] {
			out[i] += step
		}
	}
	return out
}

// biggestStep finds the hour before which the greatest step lies, and its
// height: medians of the hours after less those before, less what is usual at
// that hour of the day; at is -1 when none stands out.
func biggestStep(hours []float64) (at int, step float64) {
	jumps := jumpsOf(hours)
	usual := usualJumps(jumps)
	beyond := make([]float64, 0, len(jumps))
	at = -1
	for i, jump := range jumps {
		if v := jump - usual[i%24]; !math.IsNaN(v) {
			beyond = append(beyond, v)
			if math.Abs(v) > math.Abs(step) {
				at, step = i, v
			}
		}
	}
	if len(beyond) < 24 || math.Abs(step) < max(leastStep, 6*MAD(beyond)) {
		return -1, 0
	}
	return at, step
}

// jumpsOf gives at every hour the median of the hours after less that of the
// hours before; NaN near the ends and where nothing is known.
func jumpsOf(hours []float64) []float64 {
	n := len(hours)
	middles := make([]float64, n) // of the hours from here on
	for i := range middles {
		middles[i] = math.NaN()
		if i+stepReach <= n {
			middles[i] = middle([stepReach]float64(hours[i:]))
		}
	}
	jumps := make([]float64, n)
	for i := range jumps {
		jumps[i] = math.NaN()
		if i >= stepReach {
			jumps[i] = middles[i] - middles[i-stepReach]
		}
	}
	return jumps
}

// usualJumps is the median jump by place in the day; NaN where fewer than three
// days tell, for there a probe that feels the day would pass for one that
// steps.
func usualJumps(jumps []float64) (usual [24]float64) {
	var days [trackHours/24 + 1]float64
	for h := range usual {
		known := days[:0]
		for j := h; j < len(jumps); j += 24 {
			if !math.IsNaN(jumps[j]) {
				known = append(known, jumps[j])
			}
		}
		usual[h] = math.NaN()
		if len(known) >= 3 {
			slices.Sort(known)
			usual[h] = medianSorted(known)
		}
	}
	return usual
}

// middle is the median of the values that are numbers, or NaN.
func middle(v [stepReach]float64) float64 {
	known := v[:0]
	for _, x := range v {
		if !math.IsNaN(x) {
			known = append(known, x)
		}
	}
	if len(known) == 0 {
		return math.NaN()
	}
	slices.Sort(known)
	return medianSorted(known)
}
