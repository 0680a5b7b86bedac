package chart

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"strconv"
)

// px under the SVG's ground.
const (
	daysHeight  = 16 // for the days' names
	spellHeight = 10
	markHeight  = 26
)

// SVG draws the chart as a cut through the ground, with the bands as layers to
// scale and the curve running across them. Horizontal places are percentages
// and vertical ones px, so one picture fits a phone and a desktop without a
// script; fills named url(#...) are the textures of the page's sprite.
func (c Chart) SVG() template.HTML {
	p := svg{pen: pen{b: make([]byte, 0, 2048)}, frame: frame{c, c.values(), 1000, int64(c.Height) * c.fine()}}
	p.open()
	p.ground()
	if c.within(c.Now) { // veils what has not come yet
		p.str(`<rect class="later"`).pct("x", c.across(c.Now)).pct("width", 1-c.across(c.Now)).attr("height", float64(c.Height)).str(`/>`)
	}
	if !c.Bare {
		p.limits()
	}
	p.lines()
	if !c.Bare {
		p.dayNames()
	}
	p.present()
	p.doings()
	p.str(`</svg>`)
	return template.HTML(p.b) // every text went through pen.text
}

// An svg is a drawing in the making.
type svg struct {
	pen
	frame
}

// fine is how many steps of the frame make one px of height: enough to read a
// tenth of a degree back from a picture one looks at closely, and half as many
// for the many small ones of the first page.
func (c Chart) fine() int64 {
	if c.Height < 150 {
		return 2
	}
	return 4
}

// down is the distance of a value from the top in px.
func (p *svg) down(v float64) float64 { return float64(p.Height) * (1 - p.share(v)) }

// open writes the outer element, with what the reader's script needs to turn a
// place back into a value and a time.
func (p *svg) open() {
	if p.Bare {
		p.str(`<svg class="cut bare" aria-hidden="true"`).attr("height", float64(p.Height)).str(`>`)
		return
	}
	height := p.Height + daysHeight
	if len(p.Spells) > 0 {
		height += spellHeight
	}
	if len(p.Marks) > 0 {
		height += markHeight
	}
	p.str(`<svg class="cut" role="img"`).attr("height", float64(height)).str(` aria-label="`).text(p.Label).str(`"`)
	if p.Focus {
		p.str(` tabindex="0"`)
	}
	p.str(` data-axes="`).num(p.From.Unix()).str(" ").num(p.To.Unix())
	p.str(" ").float(p.Unit.In.Outer(p.low)).str(" ").float(p.Unit.In.Outer(p.high)).str(" ").text(p.Unit.Word).str(`">`)
}

// ground draws the layers, all of one kind in one shape, wider than any window.
func (p *svg) ground() {
	layers := p.layers(float64(p.Height))
	for _, kind := range []string{"harm", "bear", "thrive"} {
		shape := ""
		for _, l := range layers {
			if l.kind == kind {
				shape += "M0 " + tenths(l.top) + "h9999v" + tenths(l.bottom-l.top) + "H0z"
			}
		}
		if shape != "" {
			p.str(`<path fill="url(#g-`).str(kind).str(`)" d="`).str(shape).str(`"/>`)
		}
	}
}

// limits draws a line and a number at each end of both bands. Survive gives
// way where its number would sit on thrive's. Without bands the numbers are
// the least and the most of the curve.
func (p *svg) limits() {
	const room = 13 // px between two numbers that can be read
	t, v := p.Bands.Thrive, p.Bands.Survive
	if p.Bands.IsZero() {
		if len(p.Samples) == 0 {
			return
		}
		t = Swing(p.Samples)
		v = t
	}
	lines := ""
	p.str(`<g class="limit">`)
	for _, l := range []struct{ at, gap float64 }{
		{t.High, room}, {t.Low, room},
		{v.High, math.Abs(p.down(v.High) - p.down(t.High))}, {v.Low, math.Abs(p.down(v.Low) - p.down(t.Low))},
	} {
		if !p.holds(l.at) || l.gap == 0 {
			continue
		}
		y := p.down(l.at)
		lines += fmt.Sprintf("M0 %.0fh9999", y)
		if l.gap >= room {
			p.str(`<text x="99%"`).attr("y", math.Round(max(y-3, 10))).str(`>`).text(p.Unit.Number(l.at)).str(`</text>`)
		}
	}
	p.str(`<path d="`).str(lines).str(`"/></g>`)
}

// lines draws spread, cone and curve in a frame of its own that is stretched to
// the width of the page. Strokes keep their width by the style sheet.
func (p *svg) lines() {
	p.str(`<svg viewBox="0 0 `).num(p.wide).str(" ").num(p.tall).str(`" preserveAspectRatio="none"`).attr("height", float64(p.Height)).str(`>`)
	if !p.Bare {
		p.str(`<path class="day" d="`)
		for _, t := range p.days() {
			p.str("M").num(bounded(t.at * float64(p.wide))).str(" 0v").num(p.tall)
		}
		p.str(`"/>`)
	}
	if p.Spread {
		p.path("spread", "z", p.spread()...)
	}
	wedge, likely := p.cone()
	p.path("cone", "z", wedge)
	p.path("likely", "", likely)
	p.path("room", "", thinned(p.means(p.Room))...)
	p.path("run", "", p.curve()...)
	p.str(`</svg>`)
}

// path draws lines, each ended by what closes it. A minus sign separates
// numbers as well as a space does, and forty zones of curves are worth the byte.
func (p *svg) path(class, closing string, lines ...[]corner) {
	if len(lines) == 0 || len(lines[0]) == 0 {
		return
	}
	p.str(`<path class="`).str(class).str(`" d="`)
	for _, line := range lines {
		letter, from := "M", corner{}
		for _, to := range line {
			p.str(letter).num(to.x - from.x)
			if to.y >= from.y {
				p.str(" ")
			}
			p.num(to.y - from.y)
			letter, from = "l", to
		}
		p.str(closing)
	}
	p.str(`"/>`)
}

// dayNames writes below the ground what each line is called.
func (p *svg) dayNames() {
	for _, t := range p.days() {
		if t.name != "" {
			p.str(`<text class="day"`).pct("x", t.at).attr("y", float64(p.Height+12)).str(`>`).text(t.name).str(`</text>`)
		}
	}
}

// present sets the level on the edge between past and not yet.
func (p *svg) present() {
	if !p.within(p.Now) || !p.HasLevel {
		return
	}
	old := ""
	if !p.Fresh {
		old = " old"
	}
	p.str(`<circle class="level`).str(old).str(`"`).pct("cx", p.across(p.Now)).attr("cy", p.down(p.Level)).str(` r="5"/>`)
}

// doings draws, under the days, how long each condition stood and what the
// keeper did.
func (p *svg) doings() {
	y := float64(p.Height + daysHeight)
	for _, s := range p.Spells {
		from, to := max(p.across(s.From), 0), min(p.across(s.To), 1)
		if from >= 1 || to <= 0 {
			continue
		}
		p.str(`<rect class="spell `).str(cmp.Or(s.Urgency.String(), "soon")).str(`" rx="3"`).pct("x", from).pct("width", max(to-from, 0.008))
		p.attr("y", y).str(` height="6"><title>`).text(s.Title).str(`</title></rect>`)
	}
	if len(p.Spells) > 0 {
		y += spellHeight
	}
	for _, m := range p.Marks {
		if !p.within(m.At) {
			continue
		}
		x := p.across(m.At)
		p.str(`<line class="done"`).pct("x1", x).pct("x2", x).attr("y2", y).str(`/><svg`).pct("x", x).attr("y", y)
		p.str(` overflow="visible"><use href="#j-`).text(m.What).str(`" x="-11" width="22" height="22"><title>`)
		p.text(m.Title).str(`</title></use></svg>`)
	}
}

// A pen appends markup. Numbers it writes itself; a text of unsure origin goes
// through text, which escapes it for content and for quoted attributes.
type pen struct{ b []byte }

func (p *pen) str(s string) *pen {
	p.b = append(p.b, s...)
	return p
}

func (p *pen) text(s string) *pen { return p.str(template.HTMLEscapeString(s)) }

func (p *pen) num(n int64) *pen {
	p.b = strconv.AppendInt(p.b, n, 10)
	return p
}

// float writes v with at most one decimal, none where it is whole.
func (p *pen) float(v float64) *pen { return p.str(tenths(v)) }

// attr writes an attribute in px.
func (p *pen) attr(name string, px float64) *pen {
	return p.str(" ").str(name).str(`="`).float(px).str(`"`)
}

// pct writes an attribute as a share of the picture's width.
func (p *pen) pct(name string, share float64) *pen {
	return p.str(" ").str(name).str(`="`).float(share * 100).str(`%"`)
}
