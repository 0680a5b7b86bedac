package notify

import (
	"image/color"
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"binwatchd/internal/farm"
)

// Each layer of a picture is one plotter.

// ground turns data into points of the canvas, kept inside it.
type ground struct {
	draw.Canvas
	x, y func(float64) vg.Length
}

func groundOf(dc draw.Canvas, p *plot.Plot) ground {
	x, y := p.Transforms(&dc)
	return ground{dc, x, y}
}

func (g ground) point(x, y float64) vg.Point {
	return vg.Point{X: min(max(g.x(x), g.Min.X), g.Max.X), Y: min(max(g.y(y), g.Min.Y), g.Max.Y)}
}

// band is the range in which it does well.
type band struct{ curve }

func (b band) Plot(dc draw.Canvas, p *plot.Plot) {
	if b.bands.IsZero() {
		return
	}
	g := groundOf(dc, p)
	low, high := b.shown(b.bands.Thrive.Low), b.shown(b.bands.Thrive.High)
	if high < p.Y.Min || low > p.Y.Max {
		return
	}
	a, z := g.point(p.X.Min, low), g.point(p.X.Max, high)
	g.FillPolygon(meadow, []vg.Point{a, {X: z.X, Y: a.Y}, z, {X: a.X, Y: z.Y}})
	if z.Y-a.Y > vg.Points(16) && b.height > vg.Points(150) {
		b.name(g, a, z)
	}
}

// name writes what the band is in its corner that the curve begins farther
// from.
func (b band) name(g ground, a, z vg.Point) {
	first := g.point(at(b.samples[0].At), b.shown(b.samples[0].Mean)).Y
	y, side := a.Y+vg.Points(2), draw.YBottom
	if first-a.Y < z.Y-first {
		y, side = z.Y-vg.Points(2), draw.YTop
	}
	g.FillText(style(small, faint, draw.XLeft, side), vg.Point{X: a.X + vg.Points(4), Y: y}, "does well")
}

// rules are the grid, and the limits past which there is harm.
type rules struct{ curve }

func (r rules) Plot(dc draw.Canvas, p *plot.Plot) {
	g := groundOf(dc, p)
	for _, t := range p.Y.Tick.Marker.Ticks(p.Y.Min, p.Y.Max) {
		g.across(p, t.Value, draw.LineStyle{Color: ruled, Width: vg.Points(0.6)})
	}
	if r.bands.IsZero() {
		return
	}
	r.harm(g, p, r.bands.Survive.High, draw.YBottom, vg.Points(2))
	r.harm(g, p, r.bands.Survive.Low, draw.YTop, -vg.Points(2))
}

func (r rules) harm(g ground, p *plot.Plot, limit float64, side draw.YAlignment, off vg.Length) {
	v := r.shown(limit)
	if v < p.Y.Min || v > p.Y.Max {
		return
	}
	g.across(p, v, draw.LineStyle{Color: brick, Width: vg.Points(1.2), Dashes: []vg.Length{vg.Points(5), vg.Points(3)}})
	at := g.point(p.X.Min, v)
	if at.Y+off-small < g.Min.Y {
		side, off = draw.YBottom, vg.Points(2) // no room under the line
	}
	g.FillText(style(small, brick, draw.XLeft, side), vg.Point{X: at.X + vg.Points(4), Y: at.Y + off}, "harm past "+figure(v)+r.unit)
}

func (g ground) across(p *plot.Plot, y float64, style draw.LineStyle) {
	g.StrokeLine2(style, g.Min.X, g.point(p.X.Min, y).Y, g.Max.X, g.point(p.X.Max, y).Y)
}

// swung is what the level swung between in each step.
type swung struct{ curve }

func (s swung) Plot(dc draw.Canvas, p *plot.Plot) {
	g := groundOf(dc, p)
	for _, run := range s.runs() {
		var upper, lower []vg.Point
		for _, v := range run {
			x := at(v.At.Add(s.step / 2))
			upper = append(upper, g.point(x, s.shown(v.Max)))
			lower = append(lower, g.point(x, s.shown(v.Min)))
		}
		for i := range lower {
			upper = append(upper, lower[len(lower)-1-i])
		}
		g.FillPolygon(swing, upper)
	}
}

// level is the line itself; its last figure is in the title.
type level struct{ curve }

func (l level) Plot(dc draw.Canvas, p *plot.Plot) {
	g := groundOf(dc, p)
	line := draw.LineStyle{Color: ink, Width: vg.Points(1.8)}
	var last vg.Point
	for _, run := range l.runs() {
		var pts []vg.Point
		for _, v := range run {
			pts = append(pts, g.point(at(v.At.Add(l.step/2)), l.shown(v.Mean)))
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
type cone struct{ curve }

func (c cone) Plot(dc draw.Canvas, p *plot.Plot) {
	if math.IsNaN(c.limit) || c.forecast.Crosses.IsZero() {
		return
	}
	g := groundOf(dc, p)
	from := c.samples[len(c.samples)-1]
	tip, y := g.point(at(from.At.Add(c.step/2)), c.shown(from.Mean)), c.shown(c.limit)
	if !c.forecast.Earliest.IsZero() {
		late := p.X.Max
		if !c.forecast.Latest.IsZero() {
			late = at(c.forecast.Latest)
		}
		g.FillPolygon(ochre, []vg.Point{tip, g.point(at(c.forecast.Earliest), y), g.point(late, y)})
	}
	dashed := draw.LineStyle{Color: ink, Width: vg.Points(1.4), Dashes: []vg.Length{vg.Points(3), vg.Points(3)}}
	g.StrokeLines(dashed, []vg.Point{tip, g.point(at(c.forecast.Crosses), y)})
}

// nowLine marks the present where something is drawn after it.
type nowLine struct{ curve }

func (n nowLine) Plot(dc draw.Canvas, p *plot.Plot) {
	if math.IsNaN(n.limit) {
		return
	}
	g := groundOf(dc, p)
	x := g.point(at(n.now), 0).X
	g.StrokeLine2(draw.LineStyle{Color: faint, Width: vg.Points(0.8)}, x, g.Min.Y, x, g.Max.Y)
	g.FillText(style(small, faint, draw.XRight, draw.YBottom), vg.Point{X: x - vg.Points(3), Y: g.Min.Y + vg.Points(2)}, "now")
}

// jotted are the keeper's doings, each named above the curve; names that would
// cover one another go to a second line, and past that only the mark is left.
type jotted struct{ curve }

const (
	jotLine  = 12 // points
	jotLines = 2
)

func (j jotted) Plot(dc draw.Canvas, p *plot.Plot) {
	g := groundOf(dc, p)
	words := style(small, jotInk, draw.XLeft, draw.YBottom)
	var free [jotLines]vg.Length
	for _, jot := range j.jots {
		x := g.point(at(jot.At), 0).X
		said := string(jot.What)
		left := min(x-vg.Points(2), g.Max.X-words.Width(said))
		row := 0
		for row < j.rows() && left < free[row] {
			row++
		}
		top := g.Max.Y
		if row < j.rows() {
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
