package trend

import (
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
	if c.Crosses.IsZero() {
		return farm.Forecast{}, false
	}
	return farm.Forecast{Crosses: c.Crosses, Earliest: c.Earliest, Latest: c.Latest}, true
}

// Within tells whether the limit will be crossed at most d from now.
func (c Crossing) Within(now time.Time, d time.Duration) bool {
	return !c.Crosses.IsZero() && !c.Crosses.After(now.Add(d))
}

// A cloud is many weighted guesses of when a limit is crossed, hours from now;
// +Inf for never.
type cloud struct {
	guesses []guess
	deal    deal
}

type guess struct{ hours, weight float64 }

// compare puts the earlier first. Of two at the same time the lighter is first,
// so that the order never depends on how they are sorted. Neither is ever NaN.
func (a guess) compare(b guess) int {
	switch {
	case a.hours < b.hours:
		return -1
	case a.hours > b.hours:
		return 1
	case a.weight < b.weight:
		return -1
	case a.weight > b.weight:
		return 1
	}
	return 0
}

func (c *cloud) add(hours, weight float64) { c.guesses = append(c.guesses, guess{hours, weight}) }

// within turns crossings later than so many hours into never.
func (c *cloud) within(hours float64) *cloud {
	for i := range c.guesses {
		if c.guesses[i].hours > hours {
			c.guesses[i].hours = math.Inf(1)
		}
	}
	return c
}

// crossing reads the median and the 80 % interval of the guesses that do
// cross; when they weigh less than leastChance of all, it is never.
func (c *cloud) crossing(now time.Time, leastChance float64) Crossing {
	slices.SortFunc(c.guesses, guess.compare)
	total, will := 0.0, 0.0
	for _, g := range c.guesses {
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
		Earliest: hence(now, c.quantile(0.1*will)),
		Crosses:  hence(now, c.quantile(0.5*will)),
		Latest:   hence(now, c.quantile(0.9*will)),
	}
}

// quantile is the guess below which lies so much weight, straight lines drawn
// between the guesses; no more weight is asked for than crosses.
func (c *cloud) quantile(weight float64) float64 {
	sum, before, last := 0.0, 0.0, 0.0
	for i, g := range c.guesses {
		if math.IsInf(g.hours, 1) {
			break
		}
		last = g.hours
		mid := sum + g.weight/2
		if mid >= weight {
			if i == 0 {
				return g.hours
			}
			prev := c.guesses[i-1].hours
			return prev + (g.hours-prev)*(weight-before)/(mid-before)
		}
		sum, before = sum+g.weight, mid
	}
	return last
}

// hence is the moment so many hours from now, to the minute.
func hence(now time.Time, hours float64) time.Time {
	return now.Add(time.Duration(hours * float64(time.Hour))).Round(time.Minute)
}

// A deal is an endless row of pairs of standard normal numbers, evenly spread
// and the same on every machine: what stands in for chance in a cloud.
type deal struct{ next int }

// pair gives the next pair.
func (d *deal) pair() (a, b float64) {
	p := pairs()[d.next%dealt]
	d.next++
	return p.a, p.b
}

const dealt = 1024

// pairs are the points of Halton 1960, Numer Math 2:84–90, in bases 2 and 3,
// turned normal.
var pairs = sync.OnceValue(func() []pair {
	all := make([]pair, dealt)
	for i := range all {
		all[i] = pair{normalQuantile(halton(i+1, 2)), normalQuantile(halton(i+1, 3))}
	}
	return all
})

type pair struct{ a, b float64 }

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
