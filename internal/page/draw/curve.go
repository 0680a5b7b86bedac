package draw

import (
	"math"
	"strconv"
	"time"

	"binwatchd/internal/farm"
)

// fine is how many steps of a curve's own frame make one px of height: enough
// to read a tenth of a degree back from a small picture.
const fine = 4

// far bounds a coordinate, so that a forecast years ahead stays a small number.
const far = 100_000

func (c Cut) fineX(t time.Time) int64 { return bounded(c.x(t) * 1000) }

func fineY(px float64) int64 { return bounded(px * fine) }

func bounded(v float64) int64 {
	return int64(math.Round(min(max(v, -far), far)))
}

// joined is the longest step whose mean may be joined to the level: that of a
// whole day is another kind of number, and the line between them a lie.
const joined = 2 * time.Hour

// curvePath follows the means, with a gap wherever nothing was heard for two
// and a half steps, and ends at the level now.
func (c Cut) curvePath(s scale) []byte {
	var d []byte
	var last farm.Sample
	var lx, ly int64
	for i, a := range c.Samples {
		x, y := c.fineX(c.centre(a)), fineY(s.raw(a.Mean))
		if i == 0 || c.gap(last.At, a.At) {
			d = move(d, x, y)
		} else {
			d = lineBy(d, x-lx, y-ly)
		}
		last, lx, ly = a, x, y
	}
	if c.Step <= joined && c.HasLevel && c.Fresh && len(c.Samples) > 0 && !c.gap(last.At, c.Now) {
		d = lineBy(d, c.fineX(c.Now)-lx, fineY(s.raw(c.Level))-ly)
	}
	return d
}

// spreadPath runs along the greatest values and back along the least, one
// closed shape for each stretch without a gap.
func (c Cut) spreadPath(s scale) []byte {
	var d []byte
	for from := 0; from < len(c.Samples); {
		to := from + 1
		for to < len(c.Samples) && !c.gap(c.Samples[to-1].At, c.Samples[to].At) {
			to++
		}
		d = c.spread(d, s, c.Samples[from:to])
		from = to
	}
	return d
}

func (c Cut) spread(d []byte, s scale, run []farm.Sample) []byte {
	var lx, ly int64
	for i, a := range run {
		x, y := c.fineX(c.centre(a)), fineY(s.raw(a.Max))
		if i == 0 {
			d = move(d, x, y)
		} else {
			d = lineBy(d, x-lx, y-ly)
		}
		lx, ly = x, y
	}
	for i := len(run) - 1; i >= 0; i-- {
		x, y := c.fineX(c.centre(run[i])), fineY(s.raw(run[i].Min))
		d = lineBy(d, x-lx, y-ly)
		lx, ly = x, y
	}
	return append(d, 'z')
}

// centre is the middle of a sample's stretch, but never past now.
func (c Cut) centre(a farm.Sample) time.Time {
	t := a.At.Add(c.Step / 2)
	if t.After(c.Now) && !a.At.After(c.Now) {
		return c.Now
	}
	return t
}

func (c Cut) gap(a, b time.Time) bool { return b.Sub(a) > c.Step*5/2 }

func move(d []byte, x, y int64) []byte {
	d = strconv.AppendInt(append(d, 'M'), x, 10)
	return spaced(d, y)
}

// lineBy adds a relative line. A minus sign separates numbers as well as a
// space does, and forty zones of curves are worth the byte.
func lineBy(d []byte, dx, dy int64) []byte {
	d = strconv.AppendInt(append(d, 'l'), dx, 10)
	return spaced(d, dy)
}

func spaced(d []byte, v int64) []byte {
	if v >= 0 {
		d = append(d, ' ')
	}
	return strconv.AppendInt(d, v, 10)
}
