package notify

import (
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// An extent is what an axis reaches over: seconds since 1970 across, the unit
// that people read upwards.
type extent struct{ low, high float64 }

// share is where a value is between the ends, 0 to 1; it stays between them.
func (s extent) share(v float64) vg.Length {
	return vg.Length(min(max((v-s.low)/(s.high-s.low), 0), 1))
}

// A ground is the part of a canvas that data are drawn on.
type ground struct {
	draw.Canvas
	x, y extent
}

// point is where a value is, kept inside the ground.
func (g ground) point(x, y float64) vg.Point {
	size := g.Size()
	return vg.Point{X: g.Min.X + g.x.share(x)*size.X, Y: g.Min.Y + g.y.share(y)*size.Y}
}

// mark is the length of the little lines by which an axis names its figures.
const mark = vg.Length(3)

// frame writes the title and the axes and gives what is left between them.
func (c curve) frame(paper draw.Canvas) ground {
	low, high := c.reach()
	g := ground{paper, extent{at(c.from), at(c.to)}, extent{low, high}}
	upright, across := style(small, faint, draw.XRight, draw.YCenter), style(small, faint, draw.XCenter, draw.YTop)
	title := style(titleSize, ink, draw.XCenter, draw.YTop)

	g.FillText(title, vg.Point{X: g.Center().X, Y: g.Max.Y}, c.title)
	wide := vg.Length(0)
	for _, t := range levels(g.y, c.unit) {
		wide = max(wide, upright.Width(t.says))
	}
	gap, tail := upright.Width(" "), upright.FontExtents().Descent/2 // figures have no tails
	above := title.Height(c.title) + vg.Points(6+jotLine*float64(c.rows()))
	g.Canvas = draw.Crop(g.Canvas, wide+gap+mark, 0, across.Height("0")+gap+mark, -above)

	line := draw.LineStyle{Color: faint, Width: vg.Points(0.5)}
	for _, t := range levels(g.y, c.unit) {
		p := g.point(g.x.low, t.at)
		g.StrokeLine2(line, p.X-mark, p.Y, p.X, p.Y)
		g.FillText(upright, vg.Point{X: p.X - mark - gap, Y: p.Y + tail}, t.says)
	}
	for _, t := range days(g.x, c.loc) {
		p := g.point(t.at, g.y.low)
		g.StrokeLine2(line, p.X, p.Y-mark, p.X, p.Y)
		g.FillText(across, vg.Point{X: p.X, Y: p.Y - mark - gap}, t.says)
	}
	return g
}
