package draw

import (
	"html/template"
	"math"
	"strconv"
)

// A pen appends markup. Numbers it writes itself; a text of unsure origin goes
// through text, which escapes it for content and for quoted attributes.
type pen struct{ b []byte }

func (p *pen) str(s string) *pen {
	p.b = append(p.b, s...)
	return p
}

func (p *pen) bytes(s []byte) *pen {
	p.b = append(p.b, s...)
	return p
}

func (p *pen) text(s string) *pen { return p.str(template.HTMLEscapeString(s)) }

func (p *pen) num(n int64) *pen {
	p.b = strconv.AppendInt(p.b, n, 10)
	return p
}

// float writes v with at most one decimal, none where it is whole.
func (p *pen) float(v float64) *pen {
	v = math.Round(v*10) / 10
	if v == 0 {
		v = 0 // a minus zero reads badly
	}
	p.b = strconv.AppendFloat(p.b, v, 'f', -1, 64)
	return p
}

func (p *pen) pair(x, y int64) *pen { return p.num(x).str(" ").num(y) }

// attr writes an attribute in px.
func (p *pen) attr(name string, px float64) *pen {
	return p.str(" ").str(name).str(`="`).float(px).str(`"`)
}

// pct writes an attribute as a share of the picture's width.
func (p *pen) pct(name string, share float64) *pen {
	return p.str(" ").str(name).str(`="`).float(share * 100).str(`%"`)
}
