package chart

import (
	"html/template"

	"binwatchd/internal/farm"
)

// A Reach shows for each species of a bin a strip of the ground that the bin's
// own curve is drawn on: where they thrive, where they survive, and where there is
// harm; a dot is the temperature now.
type Reach struct {
	Label    string
	Rows     []ReachRow
	Level    float64 // °C
	HasLevel bool
	Number   func(v float64) string
}

// A ReachRow is one species.
type ReachRow struct {
	Name  string
	Bands farm.Bands // °C
}

const reachRow = 54 // px a species

// SVG draws the reach.
func (r Reach) SVG() template.HTML {
	reach := nowhere
	for _, row := range r.Rows {
		reach = reach.with(row.Bands.Survive.Low, row.Bands.Survive.High)
	}
	if r.HasLevel {
		reach = reach.with(r.Level)
	}
	x := scale{reach.low - 4, reach.high + 4}.share
	p := pen{b: make([]byte, 0, 1024)}
	height := float64(len(r.Rows)*reachRow + 4)
	p.str(`<svg class="reach" role="img" width="100%"`).attr("height", height).str(` aria-label="`).text(r.Label).str(`">`)
	for i, row := range r.Rows {
		r.row(&p, row, float64(i*reachRow), x)
	}
	p.str(`</svg>`)
	return template.HTML(p.b) // every text went through pen.text
}

func (r Reach) row(p *pen, row ReachRow, top float64, x func(float64) float64) {
	v, t := row.Bands.Survive, row.Bands.Thrive
	p.str(`<text x="0"`).attr("y", top+13).str(`>`).text(row.Name).str(`</text>`)
	strip := func(kind string, from, to float64) {
		p.str(`<rect fill="url(#g-`).str(kind).str(`)"`).pct("x", from).pct("width", to-from).attr("y", top+19).str(` height="18"/>`)
	}
	strip("harm", 0, 1)
	strip("bear", x(v.Low), x(v.High))
	strip("thrive", x(t.Low), x(t.High))
	for _, end := range []float64{v.Low, t.Low, t.High, v.High} {
		p.str(`<text class="end"`).pct("x", x(end)).attr("y", top+50).str(`>`).text(r.Number(end)).str(`</text>`)
	}
	if r.HasLevel {
		p.str(`<circle class="level" r="5"`).pct("cx", x(r.Level)).attr("cy", top+28).str(`/>`)
	}
}
