package page

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
)

// A diary is what happened to one bin over a span, in order of time.
type diary struct {
	jots    []farm.Jot
	changes []farm.Change
}

// diary reads what it can; with an error it holds what could be read. What was
// sifted into the bin stands in the logbook of the bin it came from.
func (p *Page) diary(ctx context.Context, s *scene, bin string) (diary, error) {
	from, to := s.now.Add(-s.span.back), s.now.Add(time.Second)
	jots, errJots := p.cfg.History.Jots(ctx, bin, from, to)
	changes, errChanges := p.cfg.History.Changes(ctx, bin, from, to)
	received, errReceived := p.received(ctx, s, bin, from, to)
	jots = append(jots, received...)
	slices.SortStableFunc(jots, func(a, b farm.Jot) int { return a.At.Compare(b.At) })
	return diary{jots: jots, changes: changes}, errors.Join(errJots, errChanges, errReceived)
}

// received are the siftings of other bins into this one, if it keeps castings.
func (p *Page) received(ctx context.Context, s *scene, bin string, from, to time.Time) ([]farm.Jot, error) {
	if !slices.Contains(tubs(s.farm, ""), bin) {
		return nil, nil
	}
	var out []farm.Jot
	for _, b := range s.farm.Bins {
		if b.Name == bin {
			continue
		}
		jots, err := p.cfg.History.Jots(ctx, b.Name, from, to)
		if err != nil {
			return out, err
		}
		for _, j := range jots {
			if j.To == bin {
				out = append(out, j)
			}
		}
	}
	return out, nil
}

// marks are the jots that concern a zone.
func (d diary) marks(s *scene, z farm.ZoneView) []chart.Mark {
	var out []chart.Mark
	for _, j := range d.jots {
		received := j.To == z.Bin && j.Bin != z.Bin
		if received || j.Zone == z.Zone || (j.Zone == "" && z.Aim == farm.Living) {
			out = append(out, chart.Mark{At: j.At, What: string(j.What), Title: s.stamp(j.At) + ": " + sayJot(j, s.units)})
		}
	}
	return out
}

// spells are the times during which conditions of a quantity stood in a zone.
// One that began before the span starts at its edge.
func (d diary) spells(s *scene, z farm.ZoneView, q farm.Quantity) []chart.Spell {
	edge := s.now.Add(-s.span.back)
	open := map[string]chart.Spell{}
	var out []chart.Spell
	for _, c := range d.changes {
		if c.Zone != z.Zone || c.JudgedBy() != q {
			continue
		}
		sp, known := open[c.Episode]
		if !known {
			sp = chart.Spell{From: edge, Title: c.Is()}
			if c.Change == farm.Raised {
				sp.From = c.At
			}
		}
		sp.To, sp.Urgency = c.At, max(sp.Urgency, c.Urgency)
		open[c.Episode] = sp
		if c.Change == farm.Eased {
			out = append(out, sp)
			delete(open, c.Episode)
		}
	}
	for _, r := range s.view.Standing {
		if r.Bin != z.Bin || r.Zone != z.Zone || r.JudgedBy() != q {
			continue
		}
		sp, known := open[r.Episode]
		if !known {
			sp = chart.Spell{From: r.Since, Title: r.Is()}
		}
		sp.To, sp.Urgency = s.now, max(sp.Urgency, r.Urgency)
		out = append(out, sp)
		delete(open, r.Episode)
	}
	slices.SortFunc(out, func(a, b chart.Spell) int {
		return cmp.Or(a.From.Compare(b.From), strings.Compare(a.Title, b.Title))
	})
	return out
}

// A logLine is one line of the logbook: something done, or something said.
type logLine struct {
	At    time.Time
	When  string
	Glyph string
	Text  string
	Done  bool // by the keeper
}

const maxLog = 80

// lines are the logbook, newest first.
func (d diary) lines(s *scene, bin string) []logLine {
	var out []logLine
	for _, j := range d.jots {
		text := farm.Capital(sayJot(j, s.units))
		if j.To == bin {
			text += " from " + j.Bin
		}
		if j.Zone != "" {
			text += ", " + j.Zone
		}
		out = append(out, logLine{At: j.At, When: s.stamp(j.At), Glyph: "j-" + string(j.What), Text: text + ".", Done: true})
	}
	for _, c := range d.changes {
		out = append(out, logLine{At: c.At, When: s.stamp(c.At), Glyph: changeGlyph(c), Text: c.Text})
	}
	slices.SortStableFunc(out, func(a, b logLine) int { return b.At.Compare(a.At) })
	return out[:min(len(out), maxLog)]
}

func changeGlyph(c farm.Change) string {
	if c.Change == farm.Eased || c.Urgency == farm.Calm {
		return "u-calm"
	}
	return "u-" + c.Urgency.String()
}
