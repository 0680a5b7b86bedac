package notify

import (
	"image/color"
	"math"
	"strconv"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"binwatchd/internal/farm"
)

// band is the range in which it does well.
func (c curve) band(g ground) {
	if c.bands.IsZero() {
		return
	}
	low, high := c.shown(c.bands.Thrive.Low), c.shown(c.bands.Thrive.High)
	if high < g.y.low || low > g.y.high {
		return
	}
	a, z := g.point(g.x.low, low), g.point(g.x.high, high)
	g.FillPolygon(meadow, []vg.Point{a, {X: z.X, Y: a.Y}, z, {X: a.X, Y: z.Y}})
	if z.Y-a.Y > vg.Points(16) && c.height > vg.Points(150) {
		c.name(g, a, z)
	}
}

// name writes what the band is in its corner that the curve begins farther
// from.
func (c curve) name(g ground, a, z vg.Point) {
	first := g.point(at(c.samples[0].At), c.shown(c.samples[0].Mean)).Y
	y, side := a.Y+vg.Points(2), draw.YBottom
	if first-a.Y < z.Y-first {
		y, side = z.Y-vg.Points(2), draw.YTop
	}
	g.FillText(style(small, faint, draw.XLeft, side), vg.Point{X: a.X + vg.Points(4), Y: y}, "does well")
}

// grid is what the level is read against, and the limits past which there is harm.
func (c curve) grid(g ground) {
	for _, t := range levels(g.y, c.unit) {
		g.across(t.at, draw.LineStyle{Color: ruled, Width: vg.Points(0.6)})
	}
	if c.bands.IsZero() {
		return
	}
	c.harm(g, c.bands.Survive.High, draw.YBottom, vg.Points(2))
	c.harm(g, c.bands.Survive.Low, draw.YTop, -vg.Points(2))
}

func (c curve) harm(g ground, limit float64, side draw.YAlignment, off vg.Length) {
	v := c.shown(limit)
	if v < g.y.low || v > g.y.high {
		return
	}
	g.across(v, draw.LineStyle{Color: brick, Width: vg.Points(1.2), Dashes: []vg.Length{vg.Points(5), vg.Points(3)}})
	at := g.point(g.x.low, v)
	if at.Y+off-small < g.Min.Y {
		side, off = draw.YBottom, vg.Points(2) // no room under the line
	}
	g.FillText(style(small, brick, draw.XLeft, side), vg.Point{X: at.X + vg.Points(4), Y: at.Y + off}, "harm past "+figure(v)+c.unit)
}

func (g ground) across(y float64, style draw.LineStyle) {
	g.StrokeLine2(style, g.Min.X, g.point(g.x.low, y).Y, g.Max.X, g.point(g.x.low, y).Y)
}

// swung is what the level swung between in each step.
func (c curve) swung(g ground) {
	for _, run := range c.runs() {
		var upper, lower []vg.Point
		for _, v := range run {
			x := at(v.At.Add(c.step / 2))
			upper = append(upper, g.point(x, c.shown(v.Max)))
			lower = append(lower, g.point(x, c.shown(v.Min)))
		}
		for i := range lower {
			upper = append(upper, lower[len(lower)-1-i])
		}
		g.FillPolygon(swing, upper)
	}
}

// level is the line itself; its last figure is in the title.
func (c curve) level(g ground) {
	line := draw.LineStyle{Color: ink, Width: vg.Points(1.8)}
	var last vg.Point
	for _, run := range c.runs() {
		var pts []vg.Point
		for _, v := range run {
			pts = append(pts, g.point(at(v.At.Add(c.step/2)), c.shown(v.Mean)))
		}
		g.StrokeLines(line, pts)
		last = pts[len(pts)-1]
	}
	g.DrawGlyph(draw.GlyphStyle{Color: ink, Radius: vg.Points(3), Shape: draw.CircleGlyph{}}, last)
}

// runs are the samples between gaps: a line across hours without a reading
// would claim what nobody saw.
func (c curve) runs() [][]farm.Sample {
	var out [][]farm.Sample
	for i, s := range c.samples {
		if i == 0 || s.At.Sub(c.samples[i-1].At) > 3*c.step {
			out = append(out, nil)
		}
		out[len(out)-1] = append(out[len(out)-1], s)
	}
	return out
}

// cone is the forecast: from the level now to the earliest and the latest
// crossing of the limit.
func (c curve) cone(g ground) {
	if math.IsNaN(c.limit) || c.forecast.Crosses.IsZero() {
		return
	}
	from := c.samples[len(c.samples)-1]
	tip, y := g.point(at(from.At.Add(c.step/2)), c.shown(from.Mean)), c.shown(c.limit)
	if !c.forecast.Earliest.IsZero() {
		late := g.x.high
		if !c.forecast.Latest.IsZero() {
			late = at(c.forecast.Latest)
		}
		g.FillPolygon(ochre, []vg.Point{tip, g.point(at(c.forecast.Earliest), y), g.point(late, y)})
	}
	dashed := draw.LineStyle{Color: ink, Width: vg.Points(1.4), Dashes: []vg.Length{vg.Points(3), vg.Points(3)}}
	g.StrokeLines(dashed, []vg.Point{tip, g.point(at(c.forecast.Crosses), y)})
}

// nowLine marks the present where something is drawn after it.
func (c curve) nowLine(g ground) {
	if math.IsNaN(c.limit) {
		return
	}
	x := g.point(at(c.now), 0).X
	g.StrokeLine2(draw.LineStyle{Color: faint, Width: vg.Points(0.8)}, x, g.Min.Y, x, g.Max.Y)
	g.FillText(style(small, faint, draw.XRight, draw.YBottom), vg.Point{X: x - vg.Points(3), Y: g.Min.Y + vg.Points(2)}, "now")
}

const (
	jotLine  = 12 // points
	jotLines = 2
)

// jotted are the keeper's doings, each named above the curve; names that would
// cover one another go to a second line, and past that only the mark is left.
func (c curve) jotted(g ground) {
	words := style(small, jotInk, draw.XLeft, draw.YBottom)
	var free [jotLines]vg.Length
	for _, jot := range c.jots {
		x := g.point(at(jot.At), 0).X
		said := string(jot.What)
		left := min(x-vg.Points(2), g.Max.X-words.Width(said))
		row := 0
		for row < c.rows() && left < free[row] {
			row++
		}
		top := g.Max.Y
		if row < c.rows() {
			top += vg.Length(row) * vg.Points(jotLine)
			free[row] = left + words.Width(said) + vg.Points(5)
			g.FillText(words, vg.Point{X: left, Y: top + vg.Points(1)}, said)
		}
		g.StrokeLine2(draw.LineStyle{Color: fade(jotInk, 0xb0), Width: vg.Points(1)}, x, g.Min.Y, x, top)
	}
}

// rows is how many lines the names of the jots get.
func (c curve) rows() int { return min(len(c.jots), jotLines) }

func fade(c color.NRGBA, alpha uint8) color.NRGBA { c.A = alpha; return c }

// figure writes a number with at most one decimal.
func figure(v float64) string {
	return strconv.FormatFloat(math.Round(v*10)/10+0, 'f', -1, 64) // +0: no minus before a zero
}
