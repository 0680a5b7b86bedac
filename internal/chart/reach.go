package chart

import (
	"html/template"

	"binwatchd/internal/farm"
)

// A Reach shows side by side what each species of a bin bears: survive as a
// thin bar, thrive as a thick one, and the temperature now across them all.
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

const reachRow = 46 // px a species

// SVG draws the reach.
func (r Reach) SVG() template.HTML {
	reach := nowhere
	for _, row := range r.Rows {
		reach = reach.with(row.Bands.Survive.Low, row.Bands.Survive.High)
	}
	if r.HasLevel {
		reach = reach.with(r.Level)
	}
	x := scale{reach.low - 2, reach.high + 2}.share
	p := pen{b: make([]byte, 0, 1024)}
	height := float64(len(r.Rows)*reachRow + 4)
	p.str(`<svg class="reach" role="img" width="100%"`).attr("height", height).str(` aria-label="`).text(r.Label).str(`">`)
	for i, row := range r.Rows {
		r.row(&p, row, float64(i*reachRow), x)
	}
	if r.HasLevel {
		p.str(`<line class="here"`).pct("x1", x(r.Level)).pct("x2", x(r.Level)).attr("y2", height).str(`/>`)
	}
	p.str(`</svg>`)
	return template.HTML(p.b) // every text went through pen.text
}

func (r Reach) row(p *pen, row ReachRow, top float64, x func(float64) float64) {
	v, t := row.Bands.Survive, row.Bands.Thrive
	p.str(`<text x="0"`).attr("y", top+13).str(`>`).text(row.Name).str(`</text>`)
	p.str(`<rect class="bears" rx="3"`).pct("x", x(v.Low)).pct("width", x(v.High)-x(v.Low)).attr("y", top+24).str(` height="6"/>`)
	p.str(`<rect class="thrives" rx="4"`).pct("x", x(t.Low)).pct("width", x(t.High)-x(t.Low)).attr("y", top+19).str(` height="16"/>`)
	for _, end := range []float64{t.Low, t.High} {
		p.str(`<text class="end"`).pct("x", x(end)).attr("y", top+45).str(`>`).text(r.Number(end)).str(`</text>`)
	}
}
