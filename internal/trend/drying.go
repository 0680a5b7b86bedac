package trend

import (
	"math"
	"slices"
	"time"
)

const (
	dryRecent = 6       // h whose mean is the newest level
	drySettle = 12      // h after a watering until the probe tells of the whole zone
	dryLeast  = 48      // h of data without which nothing is said
	dryAhead  = 42 * 24 // h looked ahead
	dryChance = 0.5     // of crossing at all, below which nothing is foreseen
	dryEvery  = 12      // h between the day means that are fitted
	dryFloor  = 0.25    // points by which a day's mean strays at least
	dryEnd    = 0.1     // kg/kg at which drying ends: material in equilibrium with room air, a choice
	dryShared = 24.0 / dryEvery
)

// DryingFits foresees when the moisture of a zone, % wet basis, falls past each
// of some limits. It works on kg of water per kg dry, where drying goes at a steady
// rate first and then in proportion to what is left to lose (Lewis 1921, Ind
// Eng Chem 13:427–432): a cloud of both, weighted by how well they match the
// means over whole days since the zone was opened. Means over whole days are
// blind to a probe that feels the day's warmth; steps of a probe's contact
// are joined. Quiet before a day and a half of data; Never when it is likelier
// not to cross in six weeks. The same fit tells when a sifting window opens
// and closes.
func DryingFits(k *Track, now time.Time, limitsPct ...float64) []Crossing {
	out := make([]Crossing, len(limitsPct))
	hours, newest, ok := k.sinceOpened(now)
	var d dryPast
	if ok {
		d, ok = dayMeans(joined(hours))
	}
	if !ok {
		for i := range out {
			out[i].Quiet = true
		}
		return out
	}
	likely := d.fits()
	for i, limit := range limitsPct {
		if newest <= limit {
			out[i] = Crossing{Past: true, Chance: 1, Crosses: now, Earliest: now, Latest: now}
			continue
		}
		out[i] = reached(dryBasis(limit), likely).within(dryAhead).crossing(now, dryChance)
	}
	return out
}

// sinceOpened gives the hourly means since half a day after the zone was last
// opened, from the first known one on, and the newest level, over six hours.
// Between the readings of a slow probe straight lines are drawn. ok is false when
// there are too few, or nothing came for longer than the probe takes turns.
func (k *Track) sinceOpened(now time.Time) (hours []float64, newest float64, ok bool) {
	n := trackHours
	if k.FreshMS != 0 {
		n = min(n, int(k.freshFor(now).Hours())-drySettle)
	}
	if n <= 0 {
		return nil, newest, false
	}
	hours = k.Hours.last(now, n)
	for len(hours) > 0 && math.IsNaN(hours[0]) {
		hours = hours[1:]
	}
	gap, late := bridge(hours), 0
	for n := len(hours); late < n && math.IsNaN(hours[n-1-late]); {
		late++
	}
	if len(hours) < dryLeast || late >= max(dryRecent, gap) {
		return nil, newest, false
	}
	known := len(hours) - late
	return hours, meanOf(hours[min(known-1, len(hours)-dryRecent):known]), true
}

// bridge draws straight lines over the gaps between hours, but not over those
// of more than some paces of the probe. It returns the longest it would
// draw over, hours.
func bridge(hours []float64) (longest int) {
	var room [trackHours]int
	gaps, last := room[:0], -1
	for i, v := range hours {
		if !math.IsNaN(v) {
			if last >= 0 {
				gaps = append(gaps, i-last)
			}
			last = i
		}
	}
	if len(gaps) == 0 {
		return 0
	}
	slices.Sort(gaps)
	longest = int(gapPaces * float64(gaps[len(gaps)/2]))
	last = -1
	for i, v := range hours {
		if math.IsNaN(v) {
			continue
		}
		if gap := i - last; last >= 0 && gap <= longest {
			for j := last + 1; j < i; j++ {
				hours[j] = hours[last] + (v-hours[last])*float64(j-last)/float64(gap)
			}
		}
		last = i
	}
	return longest
}

func dryBasis(pct float64) float64 {
	m := min(max(pct, 0), 99) / 100
	return m / (1 - m)
}

// A dryPast is the means over whole days that a fit is held to.
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
		if count(day) < 16 {
			continue
		}
		d.t = append(d.t, float64(end-len(hours))-12)
		pct = append(pct, meanOf(day))
	}
	if len(pct) < 2 {
		return d, false
	}
	for _, p := range pct {
		d.w = append(d.w, dryBasis(p))
	}
	line, err := TheilSen(d.t, d.w, 0.8)
	if err != nil {
		return d, false
	}
	noise := max(dryFloor, straying(d.t, pct))
	for _, w := range d.w {
		d.sd = append(d.sd, noise*point(w))
	}
	recent := min(len(d.t), 5) // two days: the newest end of a bent curve
	end, err := TheilSen(d.t[:recent], d.w[:recent], 0.8)
	if err != nil {
		return d, false
	}
	d.level, d.rate, d.sdNow = end.Intercept, -line.PerUnit, 1.3*d.sd[0]
	return d, true
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
