package trend

import (
	"cmp"
	"math"
	"slices"
	"sync"
	"time"

	"binwatchd/internal/farm"
)

// A Crossing is when a limit will be crossed, as far as the data say.
type Crossing struct {
	Crosses  time.Time // if at all, as likely before as after; zero when Never or Quiet
	Earliest time.Time // ends of the 80 % interval of that
	Latest   time.Time
	Never    bool    // not likely enough within the time looked ahead
	Quiet    bool    // the data say nothing: too few, or too noisy
	Past     bool    // the limit lies behind already
	Chance   float64 // that it is crossed within the time looked ahead, 0..1
}

// Forecast gives the crossing in the farm's own noun; ok is false when there is
// nothing to foresee.
func (c Crossing) Forecast() (f farm.Forecast, ok bool) {
	return farm.Forecast{Crosses: c.Crosses, Earliest: c.Earliest, Latest: c.Latest}, !c.Crosses.IsZero()
}

// crossedAlready is the Crossing of a limit that is passed already at now.
func crossedAlready(now time.Time) Crossing {
	return Crossing{Past: true, Chance: 1, Crosses: now, Earliest: now, Latest: now}
}

// Within tells whether the limit will be crossed at most d from now.
func (c Crossing) Within(now time.Time, d time.Duration) bool {
	return !c.Crosses.IsZero() && !c.Crosses.After(now.Add(d))
}

// An ensemble is many weighted guesses of when a limit is crossed, hours from now;
// +Inf for never.
type ensemble struct {
	members []member
	normals normals
}

type member struct{ hours, weight float64 }

// compare puts the earlier first. Of two at the same time the lighter is first,
// so that the order never depends on how they are sorted. Neither is ever NaN.
func (a member) compare(b member) int {
	if by := cmp.Compare(a.hours, b.hours); by != 0 {
		return by
	}
	return cmp.Compare(a.weight, b.weight)
}

func (c *ensemble) add(hours, weight float64) { c.members = append(c.members, member{hours, weight}) }

// likely is the part of the weight that crosses within so many hours.
func (c *ensemble) likely(within float64) float64 {
	total, will := 0.0, 0.0
	for _, g := range c.members {
		total += g.weight
		if g.hours <= within {
			will += g.weight
		}
	}
	return will / total
}

// crossing reads the median and the 80 % interval of the members that cross
// within so many hours; the others count as never. When those that cross weigh
// at most leastChance of all, it is never.
func (c *ensemble) crossing(now time.Time, within, leastChance float64) Crossing {
	for i := range c.members {
		if c.members[i].hours > within {
			c.members[i].hours = math.Inf(1)
		}
	}
	slices.SortFunc(c.members, member.compare)
	total, will := 0.0, 0.0
	for _, g := range c.members {
		total += g.weight
		if !math.IsInf(g.hours, 1) {
			will += g.weight
		}
	}
	switch {
	case total == 0:
		return Crossing{Quiet: true}
	case will <= leastChance*total:
		return Crossing{Never: true, Chance: will / total}
	}
	return Crossing{
		Chance:   will / total,
		Earliest: hoursFrom(now, c.quantile(0.1*will)),
		Crosses:  hoursFrom(now, c.quantile(0.5*will)),
		Latest:   hoursFrom(now, c.quantile(0.9*will)),
	}
}

// quantile is the hours below which lies so much weight, straight lines drawn
// between the members; no more weight is asked for than crosses.
func (c *ensemble) quantile(weight float64) float64 {
	sum, before, last := 0.0, 0.0, 0.0
	for i, g := range c.members {
		if math.IsInf(g.hours, 1) {
			break
		}
		last = g.hours
		mid := sum + g.weight/2
		if mid >= weight {
			if i == 0 {
				return g.hours
			}
			prev := c.members[i-1].hours
			return prev + (g.hours-prev)*(weight-before)/(mid-before)
		}
		sum, before = sum+g.weight, mid
	}
	return last
}

// hoursFrom is the moment so many hours from now, to the minute.
func hoursFrom(now time.Time, hours float64) time.Time {
	return now.Add(time.Duration(hours * float64(time.Hour))).Round(time.Minute)
}

// normals is an endless row of pairs of standard normal numbers, evenly spread
// and the same on every machine: what stands in for chance in an ensemble.
type normals struct{ next int }

// pair gives the next pair.
func (d *normals) pair() (a, b float64) {
	p := pairs()[d.next%normalPairs]
	d.next++
	return p[0], p[1]
}

const normalPairs = 1024

// pairs are the points of Halton 1960, Numer Math 2:84–90, in bases 2 and 3,
// turned normal.
var pairs = sync.OnceValue(func() [][2]float64 {
	all := make([][2]float64, normalPairs)
	for i := range all {
		all[i] = [2]float64{normalQuantile(halton(i+1, 2)), normalQuantile(halton(i+1, 3))}
	}
	return all
})

// halton is the i-th number of the van der Corput sequence in a base: evenly
// spread over 0..1.
func halton(i, base int) float64 {
	f, r := 1.0, 0.0
	for ; i > 0; i /= base {
		f /= float64(base)
		r += f * float64(i%base)
	}
	return r
}
