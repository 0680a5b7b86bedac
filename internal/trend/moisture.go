package trend

import (
	"math"
	"slices"
	"time"
)

// settled gives the hourly means of a fortnight at most, but none before half a
// day after the zone was last opened, from the first known one on.
func (k *Track) settled(now time.Time) []float64 {
	n := trackHours
	if k.FreshMS != 0 {
		n = min(n, max(0, int(k.freshFor(now).Hours())-drySettle))
	}
	hours := k.Hours.last(now, n)
	for len(hours) > 0 && math.IsNaN(hours[0]) {
		hours = hours[1:]
	}
	return hours
}

// sinceOpened gives what a zone has dried since half a day after it was last
// opened, and the newest level, over six hours, % wet basis. Between the readings
// of a slow probe straight lines are drawn; steps of its contact are taken out.
// ok is false when the data are too few, or nothing came for longer than the
// probe takes turns.
func (k *Track) sinceOpened(now time.Time) (d dryPast, newest float64, ok bool) {
	hours := k.settled(now)
	gap, late := fillGaps(hours), 0
	for n := len(hours); late < n && math.IsNaN(hours[n-1-late]); {
		late++
	}
	if len(hours) < dryLeast || late >= max(dryRecent, gap) {
		return d, newest, false
	}
	known := len(hours) - late
	newest = meanOf(hours[min(known-1, len(hours)-dryRecent):known])
	removeSteps(hours)
	d, ok = dayMeans(hours)
	return d, newest, ok
}

// fillGaps draws straight lines over the gaps between hours, but not over those
// of more than some paces of the probe. It returns the longest it would
// draw over, hours.
func fillGaps(hours []float64) (longest int) {
	known, gaps := make([]int, 0, len(hours)), make([]int, 0, len(hours))
	for i, v := range hours {
		if math.IsNaN(v) {
			continue
		}
		if n := len(known); n > 0 {
			gaps = append(gaps, i-known[n-1])
		}
		known = append(known, i)
	}
	if len(gaps) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(gaps))
	longest = int(gapPaces * float64(sorted[len(sorted)/2]))
	for n, gap := range gaps {
		a, b := known[n], known[n+1]
		for j := a + 1; j < b && gap <= longest; j++ {
			hours[j] = hours[a] + (hours[b]-hours[a])*float64(j-a)/float64(gap)
		}
	}
	return longest
}

// dryPast is the means over whole days since an opening that a fit is held to.
type dryPast struct {
	t, w  []float64 // h before now (falling), kg/kg
	sd    []float64 // kg/kg
	level float64   // at now, kg/kg
	rate  float64   // of loss, kg/kg per hour; negative when it gains
	sdNow float64   // of level
}

// dayMeans takes a mean over 24 hours at every twelfth hour, in kg/kg, and a
// straight line through them for a start. ok is false when the data are too
// few.
func dayMeans(hours []float64) (d dryPast, ok bool) {
	var pct []float64
	for end := len(hours); end >= 24; end -= dryEvery {
		day := hours[end-24 : end]
		if mean := meanOf(day); count(day) >= 16 {
			d.t, pct = append(d.t, float64(end-len(hours))-12), append(pct, mean)
			d.w = append(d.w, dryBasis(mean))
		}
	}
	line, ok := TheilSen(d.t, d.w)
	if !ok {
		return d, false
	}
	noise := max(dryFloor, straying(d.t, pct))
	for _, w := range d.w {
		d.sd = append(d.sd, noise*onePct(w))
	}
	recent := min(len(d.t), 5) // two days: the newest end of a bent curve
	end, ok := TheilSen(d.t[:recent], d.w[:recent])
	d.level, d.rate, d.sdNow = end.Intercept, -line.PerUnit, 1.3*d.sd[0]
	return d, ok
}

// straying is how far the day means lie from a smooth course, points: from
// their second differences over days, so that a bend costs little.
func straying(t, pct []float64) float64 {
	const step = int(dryShared)
	var bends []float64
	for i := 0; i+2*step < len(pct); i++ {
		if t[i]-t[i+2*step] == 2*24 {
			bends = append(bends, pct[i]-2*pct[i+step]+pct[i+2*step])
		}
	}
	if len(bends) < step {
		return 4 * dryFloor
	}
	return MAD(bends) / math.Sqrt(6)
}

// Chosen on simulated bins.
const (
	leastStep = 1.5 // points; a smaller step of a probe's contact is left in
	mostSteps = 4
	stepReach = 4 // h to either side that a step is measured over
)

// removeSteps takes steps out of hourly moistures: what came before a step is
// moved to meet what comes after. A probe that settles or is knocked steps from
// one hour to the next; water leaves a zone slowly. The newest level stands.
func removeSteps(hours []float64) {
	for range mostSteps {
		at, step := biggestStep(hours)
		if at < 0 {
			return
		}
		for i := range hours[:at] {
			hours[i] += step
		}
	}
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
	jumps, middles := unknown(n), make([]float64, n) // middles are those of the hours from here on
	for i := 0; i+stepReach <= n; i++ {
		middles[i] = middle([stepReach]float64(hours[i:]))
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

const (
	lossLeast = 2 // whole days without which no pace is told
	lossMost  = 7 // looked back at most
)

// LossPerDay is what a zone has lost of late, kg of water per kg dry and day,
// from the means over the first and the last whole day since it was opened:
// whole days are blind to a probe that feels the day's warmth. It is negative
// while a zone gains. ok is false before two days.
func LossPerDay(k *Track, now time.Time) (perDay float64, ok bool) {
	hours := k.settled(now)
	for days := lossMost; days >= lossLeast; days-- {
		if len(hours) < days*24 {
			continue
		}
		past := hours[len(hours)-days*24:]
		first, last := past[:24], past[len(past)-24:]
		// A slow probe fills few hours of a day; a day with gaps of its own is none.
		usual := float64(count(past)) / float64(days)
		if least := max(3, int(0.8*usual)); count(first) < least || count(last) < least {
			continue
		}
		return (dryBasis(meanOf(first)) - dryBasis(meanOf(last))) / float64(days-1), true
	}
	return 0, false
}
