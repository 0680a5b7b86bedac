package draw

import (
	"html/template"
	"time"

	"binwatchd/internal/farm"
)

// A Cut is one quantity of one zone, drawn as a section through the ground.
// Nothing in it is read after the call.
type Cut struct {
	Label    string    // accessible name: what the picture says, in a sentence
	Height   int       // of the ground, px; the days' names need 16 more
	From, To time.Time // edges of the picture
	Now      time.Time // where the curve ends and the forecast begins
	Step     time.Duration
	Bands    farm.Bands // zero: no layers
	Samples  []farm.Sample
	Room     []farm.Sample // what to compare with: the air around the bin
	Level    float64       // the zone's level at Now, inner units
	HasLevel bool
	Fresh    bool                   // false: Level is old and drawn hollow
	Spread   bool                   // draw the band between least and greatest
	Focus    bool                   // can be reached by keyboard, to read values
	Bare     bool                   // the ground and the curve alone, as an ornament beside words that say the same
	Number   func(v float64) string // a value as the keeper reads it, without unit
	Unit     string                 // "°C"
	Scale    float64                // keeper's units per inner unit, for the reader's script
	Offset   float64
	Cone     *Cone
	Marks    []Mark
	Spells   []Spell
	Location *time.Location
}

// A Cone is a forecast: from the level now to one limit, with the ends of its
// interval. Latest is zero when there is no end in sight.
type Cone struct {
	Limit                     float64 // inner units
	Crosses, Earliest, Latest time.Time
}

// A Mark is one thing the keeper did.
type Mark struct {
	At    time.Time
	Glyph string // name of a symbol of the sprite
	Title string
}

// A Spell is how long a condition stood.
type Spell struct {
	From, To time.Time
	Urgency  farm.Urgency
	Title    string
}

const (
	daysHeight  = 16 // px under the ground, for the days' names
	spellHeight = 10
	markHeight  = 26
)

// SVG draws the cut.
func (c Cut) SVG() template.HTML {
	s := c.fit()
	p := pen{b: make([]byte, 0, 2048)}
	c.open(&p, s)
	if !c.Bands.IsZero() {
		c.ground(&p, s)
	}
	c.later(&p)
	if !c.Bare {
		c.limits(&p, s)
	}
	c.curves(&p, s)
	if !c.Bare {
		c.dayNames(&p)
	}
	c.present(&p, s)
	c.doings(&p)
	p.str(`</svg>`)
	return template.HTML(p.b) // every text went through pen.text
}

// open writes the frame, with what the reader's script needs to turn a place
// back into a value and a time.
func (c Cut) open(p *pen, s scale) {
	if c.Bare {
		p.str(`<svg class="cut bare" aria-hidden="true"`).attr("height", float64(c.Height)).str(`>`)
		return
	}
	height := c.Height + daysHeight
	if len(c.Spells) > 0 {
		height += spellHeight
	}
	if len(c.Marks) > 0 {
		height += markHeight
	}
	p.str(`<svg class="cut" role="img"`).attr("height", float64(height)).str(` aria-label="`).text(c.Label).str(`"`)
	if c.Focus {
		p.str(` tabindex="0"`)
	}
	p.str(` data-axes="`).num(c.From.Unix()).str(" ").num(c.To.Unix())
	p.str(" ").float(c.told(s.low)).str(" ").float(c.told(s.high)).str(" ").text(c.Unit).str(`">`)
}

// told is v as the keeper reads it.
func (c Cut) told(v float64) float64 {
	if c.Scale == 0 {
		return v
	}
	return v*c.Scale + c.Offset
}

// ground draws the layers, all of one kind in one shape, wider than any window.
func (c Cut) ground(p *pen, s scale) {
	harm, bear, thrive := ground(c.Bands, s)
	for _, kind := range []struct {
		fill   string
		layers []layer
	}{{"harm", harm}, {"bear", bear}, {"thrive", thrive}} {
		if len(kind.layers) == 0 {
			continue
		}
		p.str(`<path fill="url(#g-`).str(kind.fill).str(`)" d="`)
		for _, l := range kind.layers {
			p.str("M0 ").float(l.top).str("h9999v").float(l.bottom - l.top).str("H0z")
		}
		p.str(`"/>`)
	}
}

// curves draws spread, cone and curve in a frame of its own that is stretched
// to the width of the page. Strokes keep their width by the style sheet.
func (c Cut) curves(p *pen, s scale) {
	p.str(`<svg viewBox="0 0 1000 `).num(int64(c.Height)*c.fine()).str(`" preserveAspectRatio="none"`).attr("height", float64(c.Height)).str(`>`)
	if !c.Bare {
		c.dayLines(p)
	}
	if c.Spread {
		if d := c.spreadPath(s); len(d) > 0 {
			p.str(`<path class="spread" d="`).bytes(d).str(`"/>`)
		}
	}
	if c.Cone != nil && c.HasLevel {
		c.cone(p, s)
	}
	if d := c.path(s, c.Room, nil); len(d) > 0 {
		p.str(`<path class="room" d="`).bytes(d).str(`"/>`)
	}
	if d := c.curvePath(s); len(d) > 0 {
		p.str(`<path class="run" d="`).bytes(d).str(`"/>`)
	}
	p.str(`</svg>`)
}

// cone draws where the level is heading: the interval as a wedge, the likely
// way as a broken line.
func (c Cut) cone(p *pen, s scale) {
	nx, ny := c.fineX(c.Now), c.fineY(s.raw(c.Level))
	ly := c.fineY(s.raw(c.Cone.Limit))
	early, late := c.fineX(c.Cone.Earliest), c.fineX(c.Cone.Latest)
	if c.Cone.Latest.IsZero() {
		late = max(early, c.fineX(c.To))
	}
	if !c.Cone.Earliest.IsZero() {
		p.str(`<path class="cone" d="M`).pair(nx, ny).str(`L`).pair(early, ly).str(`L`).pair(late, ly).str(`z"/>`)
	}
	if !c.Cone.Crosses.IsZero() {
		p.str(`<path class="likely" d="M`).pair(nx, ny).str(`L`).pair(c.fineX(c.Cone.Crosses), ly).str(`"/>`)
	}
}

// later veils what has not come yet.
func (c Cut) later(p *pen) {
	if c.within(c.Now) {
		p.str(`<rect class="later"`).pct("x", c.x(c.Now)).pct("width", 1-c.x(c.Now)).attr("height", float64(c.Height)).str(`/>`)
	}
}

// present sets the level on the edge between past and not yet.
func (c Cut) present(p *pen, s scale) {
	if !c.within(c.Now) || !c.HasLevel {
		return
	}
	class := "level"
	if !c.Fresh {
		class = "level old"
	}
	p.str(`<circle class="`).str(class).str(`"`).pct("cx", c.x(c.Now)).attr("cy", s.y(c.Level)).str(` r="5"/>`)
}
