package chart

import (
	"bytes"
	"fmt"
	"image/color"
	"slices"
	"sync"

	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

// dpi makes two pixels of a point, and a mail shows a point as one CSS pixel: a
// phone's display is twice as fine as that, or finer.
const dpi = 144

// Colours of the PNG: paper, ink, and three that stay apart for the
// colour-blind. Nothing is said by colour alone. They are the same in light and
// dark mails, since few clients can choose between pictures.
var (
	paper  = color.NRGBA{0xfb, 0xf8, 0xf2, 0xff}
	ink    = color.NRGBA{0x3a, 0x33, 0x2b, 0xff}
	faint  = color.NRGBA{0x7d, 0x72, 0x64, 0xff}
	ruled  = color.NRGBA{0xe4, 0xdd, 0xd0, 0xff}
	meadow = color.NRGBA{0xcf, 0xe0, 0xbd, 0xff}
	brick  = color.NRGBA{0xa8, 0x3f, 0x24, 0xff}
	ochre  = color.NRGBA{0xd9, 0x93, 0x2f, 0x66}
	shade  = color.NRGBA{0x5a, 0x48, 0x38, 0x38}
	done   = color.NRGBA{0x2c, 0x61, 0x86, 0xff}
	rod    = color.NRGBA{0x2c, 0x61, 0x86, 0xb0} // the line under what was done
)

// Sizes of what is written on the PNG.
var (
	small     = vg.Points(10.5)
	titleSize = vg.Points(12.5)
)

// PNG draws the chart as a picture for a mail.
func (c Chart) PNG() ([]byte, error) {
	if len(c.Samples) == 0 {
		return nil, fmt.Errorf("draw %s: no samples", c.Title)
	}
	size := vgimg.UseWH(vg.Length(c.Width), vg.Length(c.Height))
	img := vgimg.NewWith(size, vgimg.UseDPI(dpi), vgimg.UseBackgroundColor(paper))
	const steps = 16 // of the frame to a point
	p := plot{
		draw.Crop(draw.New(img), vg.Points(8), -vg.Points(12), vg.Points(6), -vg.Points(6)),
		frame{c, c.values(), int64(c.Width) * steps, int64(c.Height) * steps},
	}
	p.axes()
	p.thrive()
	p.grid()
	for _, shape := range p.spread() {
		p.fill(shade, shape)
	}
	wedge, likely := p.cone()
	p.fill(ochre, wedge)
	p.stroke(draw.LineStyle{Color: ink, Width: vg.Points(1.4), Dashes: []vg.Length{vg.Points(3), vg.Points(3)}}, likely)
	p.marks()
	p.level()
	p.present()
	var b bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: img}).WriteTo(&b); err != nil {
		return nil, fmt.Errorf("draw %s: %w", c.Title, err)
	}
	return b.Bytes(), nil
}

// A plot is a PNG in the making: the canvas between the axes.
type plot struct {
	draw.Canvas
	frame
}

// points are the places of a line on the canvas.
func (p *plot) points(line []corner) []vg.Point {
	size := p.Size()
	out := make([]vg.Point, 0, len(line))
	for _, c := range line {
		out = append(out, vg.Point{
			X: p.Min.X + size.X*vg.Length(c.x)/vg.Length(p.wide),
			Y: p.Max.Y - size.Y*vg.Length(c.y)/vg.Length(p.tall),
		})
	}
	return out
}

func (p *plot) fill(c color.Color, shape []corner) {
	if len(shape) > 0 {
		p.FillPolygon(c, p.ClipPolygonXY(p.points(shape)))
	}
}

func (p *plot) stroke(style draw.LineStyle, lines ...[]corner) {
	for _, line := range lines {
		p.StrokeLines(style, p.ClipLinesXY(p.points(line))...)
	}
}

// x and y are the places of a share of the width and of a value.
func (p *plot) x(share float64) vg.Length { return p.Min.X + p.Size().X*vg.Length(share) }
func (p *plot) y(v float64) vg.Length     { return p.Min.Y + p.Size().Y*vg.Length(p.share(v)) }

// mark is the length of the little lines by which an axis names its figures.
const mark = vg.Length(3)

// axes writes the title and the axes, and leaves the canvas between them.
func (p *plot) axes() {
	upright, level := style(small, faint, draw.XRight, draw.YCenter), style(small, faint, draw.XCenter, draw.YTop)
	title := style(titleSize, ink, draw.XCenter, draw.YTop)
	p.FillText(title, vg.Point{X: p.Center().X, Y: p.Max.Y}, p.Title)
	wide := vg.Length(0)
	for _, t := range p.levels() {
		wide = max(wide, upright.Width(t.name))
	}
	gap, tail := upright.Width(" "), upright.FontExtents().Descent/2 // figures have no tails
	above := title.Height(p.Title) + vg.Points(6+markLine*float64(min(len(p.Marks), markLines)))
	p.Canvas = draw.Crop(p.Canvas, wide+gap+mark, 0, level.Height("0")+gap+mark, -above)

	line := draw.LineStyle{Color: faint, Width: vg.Points(0.5)}
	for _, t := range p.levels() {
		y := p.y(t.at)
		p.StrokeLine2(line, p.Min.X-mark, y, p.Min.X, y)
		p.FillText(upright, vg.Point{X: p.Min.X - mark - gap, Y: y + tail}, t.name)
	}
	for _, t := range p.days() {
		x := p.x(t.at)
		p.StrokeLine2(line, x, p.Min.Y-mark, x, p.Min.Y)
		p.FillText(level, vg.Point{X: x, Y: p.Min.Y - mark - gap}, t.name)
	}
}

// thrive is the ground on which it does well, named in the corner that the
// curve begins farther from.
func (p *plot) thrive() {
	layers := p.layers(float64(p.Size().Y))
	i := slices.IndexFunc(layers, func(l layer) bool { return l.kind == "thrive" })
	if i < 0 {
		return
	}
	top, bottom := p.Max.Y-vg.Length(layers[i].top), p.Max.Y-vg.Length(layers[i].bottom)
	p.FillPolygon(meadow, []vg.Point{{X: p.Min.X, Y: bottom}, {X: p.Max.X, Y: bottom}, {X: p.Max.X, Y: top}, {X: p.Min.X, Y: top}})
	if top-bottom <= vg.Points(16) || p.Height <= 150 {
		return
	}
	at, side := bottom+vg.Points(2), draw.YBottom
	if first := p.y(p.Samples[0].Mean); first-bottom < top-first {
		at, side = top-vg.Points(2), draw.YTop
	}
	p.FillText(style(small, faint, draw.XLeft, side), vg.Point{X: p.Min.X + vg.Points(4), Y: at}, "does well")
}

// grid is what the level is read against, and the limits past which there is harm.
func (p *plot) grid() {
	for _, t := range p.levels() {
		p.StrokeLine2(draw.LineStyle{Color: ruled, Width: vg.Points(0.6)}, p.Min.X, p.y(t.at), p.Max.X, p.y(t.at))
	}
	if !p.Bands.IsZero() {
		p.harm(p.Bands.Survive.High, draw.YBottom, vg.Points(2))
		p.harm(p.Bands.Survive.Low, draw.YTop, -vg.Points(2))
	}
}

func (p *plot) harm(limit float64, side draw.YAlignment, off vg.Length) {
	if !p.holds(limit) {
		return
	}
	y := p.y(limit)
	dashed := draw.LineStyle{Color: brick, Width: vg.Points(1.2), Dashes: []vg.Length{vg.Points(5), vg.Points(3)}}
	p.StrokeLine2(dashed, p.Min.X, y, p.Max.X, y)
	if y+off-small < p.Min.Y {
		side, off = draw.YBottom, vg.Points(2) // no room under the line
	}
	said := "harm past " + p.Unit.String(limit)
	p.FillText(style(small, brick, draw.XLeft, side), vg.Point{X: p.Min.X + vg.Points(4), Y: y + off}, said)
}

// level is the curve, and a dot where it stands now.
func (p *plot) level() {
	p.stroke(draw.LineStyle{Color: ink, Width: vg.Points(1.8)}, p.curve()...)
	if !p.HasLevel || !p.within(p.Now) {
		return
	}
	dot := draw.GlyphStyle{Color: ink, Radius: vg.Points(3), Shape: draw.CircleGlyph{}}
	if !p.Fresh {
		dot.Shape = draw.RingGlyph{}
	}
	p.DrawGlyph(dot, vg.Point{X: p.x(p.across(p.Now)), Y: p.y(p.Level)})
}

// present marks now where something is drawn after it.
func (p *plot) present() {
	if p.Cone == nil {
		return
	}
	x := p.x(p.across(p.Now))
	p.StrokeLine2(draw.LineStyle{Color: faint, Width: vg.Points(0.8)}, x, p.Min.Y, x, p.Max.Y)
	p.FillText(style(small, faint, draw.XRight, draw.YBottom), vg.Point{X: x - vg.Points(3), Y: p.Min.Y + vg.Points(2)}, "now")
}

const (
	markLine  = 12 // points
	markLines = 2  // at most, above the canvas
)

// marks are the keeper's doings, each named above the curve; names that would
// cover one another go to a second line, and past that only the mark is left.
func (p *plot) marks() {
	words := style(small, done, draw.XLeft, draw.YBottom)
	line := draw.LineStyle{Color: rod, Width: vg.Points(1)}
	free := make([]vg.Length, min(len(p.Marks), markLines)) // from where on there is room
	for _, m := range p.Marks {
		if !p.within(m.At) {
			continue
		}
		x, top := p.x(p.across(m.At)), p.Max.Y
		left := min(x-vg.Points(2), p.Max.X-words.Width(m.What))
		if row := slices.IndexFunc(free, func(from vg.Length) bool { return left >= from }); row >= 0 {
			top += vg.Length(row) * vg.Points(markLine)
			free[row] = left + words.Width(m.What) + vg.Points(5)
			p.FillText(words, vg.Point{X: left, Y: top + vg.Points(1)}, m.What)
		}
		p.StrokeLine2(line, x, p.Min.Y, x, top)
	}
}

var typeface = font.Font{Typeface: "Go"}

// scribe writes in the one typeface of the pictures. It is read when the first
// picture is drawn: on many days there is none.
var scribe = sync.OnceValue(func() text.Handler {
	face, err := opentype.Parse(goregular.TTF)
	if err != nil {
		panic(fmt.Sprintf("the typeface that this program is built with: %v", err))
	}
	return text.Plain{Fonts: font.NewCache(font.Collection{{Font: typeface, Face: face}})}
})

func style(size vg.Length, col color.Color, x text.XAlignment, y text.YAlignment) text.Style {
	return text.Style{Color: col, Font: font.From(typeface, size), XAlign: x, YAlign: y, Handler: scribe()}
}
