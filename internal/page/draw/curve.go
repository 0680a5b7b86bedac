package draw

import (
	"math"
	"slices"
	"strconv"
	"time"

	"binwatchd/internal/farm"
)

// fine is how many steps of a curve's own frame make one px of height: enough
// to read a tenth of a degree back from a picture one looks at closely, and
// half as many for the many small ones of the first page.
func (c Cut) fine() int64 {
	if c.Height < 150 {
		return 2
	}
	return 4
}

// far bounds a coordinate, so that a forecast years ahead stays a small number.
const far = 100_000

func (c Cut) fineX(t time.Time) int64 { return bounded(c.x(t) * 1000) }

func (c Cut) fineY(px float64) int64 { return bounded(px * float64(c.fine())) }

func bounded(v float64) int64 {
	return int64(math.Round(min(max(v, -far), far)))
}

// joined is the longest step whose mean may be joined to the level: that of a
// whole day is another kind of number, and the line between them a lie.
const joined = 2 * time.Hour

// A corner is a point of a curve in its own frame.
type corner struct{ x, y int64 }

// path follows the means of samples, with a gap wherever nothing was heard for
// two and a half steps. When end is given the last stretch leads on to it.
func (c Cut) path(s scale, samples []farm.Sample, end *corner) []byte {
	var d []byte
	for len(samples) > 0 {
		n := c.stretch(samples)
		run := make([]corner, 0, n+1)
		for _, a := range samples[:n] {
			run = append(run, corner{c.fineX(c.centre(a)), c.fineY(s.raw(a.Mean))})
		}
		if samples = samples[n:]; len(samples) == 0 && end != nil {
			run = append(run, *end)
		}
		d = line(d, thin(run))
	}
	return d
}

// stretch is how many samples follow each other without a gap.
func (c Cut) stretch(samples []farm.Sample) int {
	n := 1
	for n < len(samples) && !c.gap(samples[n-1].At, samples[n].At) {
		n++
	}
	return n
}

// curvePath is the path of the zone's own samples, ending at the level now.
func (c Cut) curvePath(s scale) []byte {
	n := len(c.Samples)
	if n == 0 || c.Step > joined || !c.HasLevel || !c.Fresh || c.gap(c.Samples[n-1].At, c.Now) {
		return c.path(s, c.Samples, nil)
	}
	return c.path(s, c.Samples, &corner{c.fineX(c.Now), c.fineY(s.raw(c.Level))})
}

// thin leaves out the corners that the line between their neighbours passes
// within one fine step, half a px at most: nobody can see them, and a page of
// forty zones is half as heavy without. From an anchor it keeps the range of
// slopes that pass near enough to every corner since (a swinging door), and
// ends the line at the last corner that still lay inside.
func thin(run []corner) []corner {
	if len(run) < 3 {
		return run
	}
	out := run[:1:1]
	anchor, low, high := run[0], math.Inf(-1), math.Inf(1)
	for i, p := range run[1:] {
		dx, dy := float64(p.x-anchor.x), float64(p.y-anchor.y)
		if i > 0 && (dx <= 0 || dy/dx < low || dy/dx > high) {
			anchor = run[i]
			out = append(out, anchor)
			dx, dy = float64(p.x-anchor.x), float64(p.y-anchor.y)
			low, high = math.Inf(-1), math.Inf(1)
		}
		if dx > 0 {
			low, high = max(low, (dy-1)/dx), min(high, (dy+1)/dx)
		}
	}
	return append(out, run[len(run)-1])
}

// line writes a run: to its first corner, then from each to the next.
func line(d []byte, run []corner) []byte {
	d = move(d, run[0])
	for i := 1; i < len(run); i++ {
		d = lineBy(d, run[i].x-run[i-1].x, run[i].y-run[i-1].y)
	}
	return d
}

// spreadPath runs along the greatest values and back along the least, one
// closed shape for each stretch without a gap.
func (c Cut) spreadPath(s scale) []byte {
	var d []byte
	for rest := c.Samples; len(rest) > 0; {
		n := c.stretch(rest)
		var top, bottom []corner
		for _, a := range rest[:n] {
			x := c.fineX(c.centre(a))
			top, bottom = append(top, corner{x, c.fineY(s.raw(a.Max))}), append(bottom, corner{x, c.fineY(s.raw(a.Min))})
		}
		shape := thin(top)
		bottom = thin(bottom)
		slices.Reverse(bottom)
		d = append(line(d, append(shape, bottom...)), 'z')
		rest = rest[n:]
	}
	return d
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

func move(d []byte, p corner) []byte {
	return spaced(strconv.AppendInt(append(d, 'M'), p.x, 10), p.y)
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
