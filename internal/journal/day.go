package journal

import (
	"math"
	"time"

	"binwatchd/internal/farm"
)

const (
	hourMs = int64(time.Hour / time.Millisecond)
	dayMs  = 24 * hourMs
)

// resolution is how many steps of the history make one °C, % or V. Sums of
// whole steps can be added in any order with the same result, so it never
// matters in which portions readings are folded.
func resolution(q farm.Quantity) float64 {
	if q == farm.Battery {
		return 1000
	}
	return 100
}

// steps gives a value in steps; ok is false for one no probe can mean.
func steps(v float64, q farm.Quantity) (n int64, ok bool) {
	if !(math.Abs(v) < 1e9) {
		return 0, false
	}
	return int64(math.Round(v * resolution(q))), true
}

// A fold is a number of values in steps.
type fold struct{ n, sum, min, max int64 }

func (f *fold) add(v int64) { f.merge(fold{1, v, v, v}) }

func (f *fold) merge(g fold) {
	switch {
	case g.n == 0:
	case f.n == 0:
		*f = g
	default:
		*f = fold{f.n + g.n, f.sum + g.sum, min(f.min, g.min), max(f.max, g.max)}
	}
}

// sample gives the fold in the quantity's unit.
func (f fold) sample(at int64, q farm.Quantity) farm.Sample {
	r := resolution(q)
	return farm.Sample{
		At: instant(at), N: f.n,
		Min: float64(f.min) / r, Max: float64(f.max) / r,
		Mean: float64(f.sum) / float64(f.n) / r,
	}
}

// A day is the history of one series on one UTC day.
type day [24]fold

func (d *day) whole() fold {
	var f fold
	for _, h := range d {
		f.merge(h)
	}
	return f
}

// pass passes the hours that have values: which, then for each its number, how
// its sum differs from the hour before's mean, and how far its ends are from its
// own mean. All are small, mostly one byte.
func (d *day) pass(c *codec) {
	var which uint64
	for h, f := range d {
		if f.n > 0 {
			which |= 1 << h
		}
	}
	which = c.uint(0, which)
	was := int64(0)
	for h := range d {
		if which>>h&1 == 0 {
			continue
		}
		f := d[h]
		n := int64(c.uint(0, uint64(f.n)))
		if n < 1 {
			c.fail()
			return
		}
		sum := n*was + c.int(0, f.sum-n*was)
		mean := floorDiv(sum, n)
		below, above := c.uint(0, uint64(mean-f.min)), c.uint(0, uint64(f.max-mean))
		d[h] = fold{n, sum, mean - int64(below), mean + int64(above)}
		was = mean
	}
}

func (d *day) encode() []byte {
	c := &codec{cols: make([][]byte, 1)}
	d.pass(c)
	return c.cols[0]
}

func decodeDay(b []byte) (d day, err error) {
	c := &codec{unpacking: true, cols: [][]byte{b}}
	d.pass(c)
	return d, c.err
}

// floorDiv rounds toward less, so that a mean is never under the least value.
func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// dayOf and hourOf place a time of milliseconds, before 1970 as well.
func dayOf(ms int64) int64 { return floorDiv(ms, dayMs) }

func hourOf(ms int64) int { return int((ms - dayOf(ms)*dayMs) / hourMs) }
