package draw

import (
	"fmt"
	"math"
	"time"

	"binwatchd/internal/farm"
)

// limits draws a line and a number at each end of both bands. Survive gives
// way where its number would sit on thrive's. Without bands the numbers are
// the least and the most of the curve.
func (c Cut) limits(p *pen, s scale) {
	if c.Number == nil {
		return
	}
	t, v := c.Bands.Thrive, c.Bands.Survive
	if c.Bands.IsZero() {
		var ok bool
		if t, ok = c.extent(); !ok {
			return
		}
		v = t
	}
	var lines []byte
	p.str(`<g class="limit">`)
	for _, l := range []struct{ at, gap float64 }{
		{t.High, labelRoom}, {t.Low, labelRoom},
		{v.High, math.Abs(s.raw(v.High) - s.raw(t.High))}, {v.Low, math.Abs(s.raw(v.Low) - s.raw(t.Low))},
	} {
		y := s.raw(l.at)
		if y < 0 || y > s.height || l.gap == 0 {
			continue
		}
		lines = fmt.Appendf(lines, "M0 %.0fh9999", y)
		if l.gap >= labelRoom {
			p.str(`<text x="99%"`).attr("y", math.Round(max(y-3, 10))).str(`>`).text(c.Number(l.at)).str(`</text>`)
		}
	}
	p.str(`<path d="`).bytes(lines).str(`"/></g>`)
}

// labelRoom is how far apart two numbers must stand to be read, px.
const labelRoom = 13

// extent is the least and the most of the samples.
func (c Cut) extent() (b farm.Band, ok bool) {
	b = farm.Band{Low: math.Inf(1), High: math.Inf(-1)}
	for _, a := range c.Samples {
		b = farm.Band{Low: min(b.Low, a.Min), High: max(b.High, a.Max)}
	}
	return b, len(c.Samples) > 0
}

// A calendar says where the fine lines of the picture stand and what they are
// called.
type calendar struct {
	first func(time.Time) time.Time // first line at or after t
	next  func(time.Time) time.Time
	name  func(time.Time) string
}

// calendarFor picks days, weeks or months, whichever leaves room for names on
// a phone.
func (c Cut) calendarFor() calendar {
	switch d := c.To.Sub(c.From); {
	case d <= 4*24*time.Hour:
		return calendar{midnightAfter, days(1), func(t time.Time) string { return t.Format("Mon") }}
	case d <= 25*24*time.Hour:
		return calendar{midnightAfter, days(4), func(t time.Time) string { return t.Format("2 Jan") }}
	case d <= 150*24*time.Hour:
		return calendar{monthAfter, months(1), func(t time.Time) string { return t.Format("Jan") }}
	}
	return calendar{monthAfter, months(3), func(t time.Time) string { return t.Format("Jan 06") }}
}

// each calls do with the place of each of the calendar's lines.
func (c Cut) each(do func(x float64, name string)) {
	cal := c.calendarFor()
	loc := c.Location
	if loc == nil {
		loc = time.UTC
	}
	for t := cal.first(c.From.In(loc)); t.Before(c.To); t = cal.next(t) {
		do(c.x(t), cal.name(t))
	}
}

// dayLines draws the calendar into the curve's own frame.
func (c Cut) dayLines(p *pen) {
	p.str(`<path class="day" d="`)
	c.each(func(x float64, _ string) {
		p.str("M").num(bounded(x * 1000)).str(" 0v").num(int64(c.Height) * c.fine())
	})
	p.str(`"/>`)
}

// dayNames writes below the ground what each line is called, where there is
// room to its right.
func (c Cut) dayNames(p *pen) {
	c.each(func(x float64, name string) {
		if x < 0.93 {
			p.str(`<text class="day"`).pct("x", x).attr("y", float64(c.Height+12)).str(`>`).text(name).str(`</text>`)
		}
	})
}

func midnightAfter(t time.Time) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d+1, 0, 0, 0, 0, t.Location())
}

func monthAfter(t time.Time) time.Time {
	y, m, _ := t.Date()
	return time.Date(y, m+1, 1, 0, 0, 0, 0, t.Location())
}

func days(n int) func(time.Time) time.Time {
	return func(t time.Time) time.Time { return t.AddDate(0, 0, n) }
}

func months(n int) func(time.Time) time.Time {
	return func(t time.Time) time.Time { return t.AddDate(0, n, 0) }
}

// doings draws, under the days, how long each condition stood and what the
// keeper did.
func (c Cut) doings(p *pen) {
	y := float64(c.Height + daysHeight)
	for _, s := range c.Spells {
		from, to := max(c.x(s.From), 0), min(c.x(s.To), 1)
		if from >= 1 || to <= 0 {
			continue
		}
		p.str(`<rect class="spell `).str(spellClass(s.Urgency)).str(`" rx="3"`).pct("x", from).pct("width", max(to-from, 0.008)).attr("y", y).str(` height="6"><title>`).text(s.Title).str(`</title></rect>`)
	}
	if len(c.Spells) > 0 {
		y += spellHeight
	}
	for _, m := range c.Marks {
		if !c.within(m.At) {
			continue
		}
		x := c.x(m.At)
		p.str(`<line class="done"`).pct("x1", x).pct("x2", x).attr("y2", y).str(`/><svg`).pct("x", x).attr("y", y).str(` overflow="visible"><use href="#`).text(m.Glyph).str(`" x="-11" width="22" height="22"><title>`).text(m.Title).str(`</title></use></svg>`)
	}
}

func spellClass(u farm.Urgency) string {
	if u == farm.Calm {
		return "soon"
	}
	return u.String()
}
