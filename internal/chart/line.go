package chart

import (
	"math"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// A frame is the grid on which a renderer places the lines of a chart, from
// its upper left corner.
type frame struct {
	Chart
	scale
	wide, tall int64 // steps of the grid
}

// A corner is a point of the grid.
type corner struct{ x, y int64 }

func (f frame) corner(t time.Time, v float64) corner {
	return corner{bounded(f.across(t) * float64(f.wide)), bounded((1 - f.share(v)) * float64(f.tall))}
}

// bounded rounds to a step that is no farther away than any line needs, so that
// a forecast years ahead stays a small number.
func bounded(v float64) int64 {
	const far = 100_000
	return int64(math.Round(min(max(v, -far), far)))
}

// means are the lines through the means of samples, one for each run without
// a gap.
func (f frame) means(samples []farm.Sample) [][]corner {
	var out [][]corner
	for _, run := range f.runs(samples) {
		var line []corner
		for _, a := range run {
			line = append(line, f.corner(f.centre(a), a.Mean))
		}
		out = append(out, line)
	}
	return out
}

// curve is the line through the chart's own samples, the last of it leading on
// to the level now where that follows.
func (f frame) curve() [][]corner {
	// joined is the longest step whose mean may be joined to the level: that of a
	// whole day is another kind of number, and the line between them a lie.
	const joined = 2 * time.Hour
	out := f.means(f.Samples)
	if n := len(f.Samples); n > 0 && f.Step <= joined && f.HasLevel && f.Fresh && !f.gap(f.Samples[n-1].At, f.Now) {
		last := &out[len(out)-1]
		*last = append(*last, f.corner(f.Now, f.Level))
	}
	return thinned(out)
}

// thinned are lines without the corners that nobody can see.
func thinned(lines [][]corner) [][]corner {
	for i := range lines {
		lines[i] = thin(lines[i])
	}
	return lines
}

// spread are closed shapes, one for each run without a gap: along the greatest
// values and back along the least.
func (f frame) spread() [][]corner {
	var out [][]corner
	for _, run := range f.runs(f.Samples) {
		var top, bottom []corner
		for _, a := range run {
			at := f.centre(a)
			top, bottom = append(top, f.corner(at, a.Max)), append(bottom, f.corner(at, a.Min))
		}
		bottom = thin(bottom)
		slices.Reverse(bottom)
		out = append(out, append(thin(top), bottom...))
	}
	return out
}

// cone is where the level is heading: the interval as a wedge, the likely way
// as a line. What is not known is nil.
func (f frame) cone() (wedge, likely []corner) {
	if f.Cone == nil || !f.HasLevel {
		return nil, nil
	}
	tip, c := f.corner(f.Now, f.Level), f.Cone
	if !c.Earliest.IsZero() {
		early := f.corner(c.Earliest, c.Limit)
		late := f.corner(c.Latest, c.Limit)
		if c.Latest.IsZero() {
			late.x = max(early.x, f.wide)
		}
		wedge = []corner{tip, early, late}
	}
	if !c.Crosses.IsZero() {
		likely = []corner{tip, f.corner(c.Crosses, c.Limit)}
	}
	return wedge, likely
}

// runs are the samples between gaps: a line across hours without a reading
// would claim what nobody saw.
func (c Chart) runs(samples []farm.Sample) [][]farm.Sample {
	var out [][]farm.Sample
	from := 0
	for i := range samples {
		if i+1 == len(samples) || c.gap(samples[i].At, samples[i+1].At) {
			out = append(out, samples[from:i+1])
			from = i + 1
		}
	}
	return out
}

func (c Chart) gap(a, b time.Time) bool { return b.Sub(a) > c.Step*5/2 }

// centre is the middle of a sample's stretch, but never past now.
func (c Chart) centre(a farm.Sample) time.Time {
	t := a.At.Add(c.Step / 2)
	if t.After(c.Now) && !a.At.After(c.Now) {
		return c.Now
	}
	return t
}

// thin leaves out the corners that the line between their neighbours passes
// within one step of the grid: nobody can see them, and a page of forty zones is
// half as heavy without. From an anchor it keeps the range of slopes that pass
// near enough to every corner since (a swinging door), and ends the line at the
// last corner that still lay inside.
func thin(line []corner) []corner {
	if len(line) < 3 {
		return line
	}
	out := line[:1:1]
	anchor, low, high := line[0], math.Inf(-1), math.Inf(1)
	for i, p := range line[1:] {
		dx, dy := float64(p.x-anchor.x), float64(p.y-anchor.y)
		if i > 0 && (dx <= 0 || dy/dx < low || dy/dx > high) {
			anchor = line[i]
			out = append(out, anchor)
			dx, dy = float64(p.x-anchor.x), float64(p.y-anchor.y)
			low, high = math.Inf(-1), math.Inf(1)
		}
		if dx > 0 {
			low, high = max(low, (dy-1)/dx), min(high, (dy+1)/dx)
		}
	}
	return append(out, line[len(line)-1])
}
