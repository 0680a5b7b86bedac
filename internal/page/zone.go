package page

import (
	"context"
	"fmt"
	"strings"
	"time"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
)

// A zoneView is one zone as the page shows it.
type zoneView struct {
	Anchor, Name, Aim string
	Heard             string // age of the newest believed reading; "" when there is none
	Raised            []raisedView
	Unsure            []string // what can't be said of it now, a sentence each
	Gauges            []gauge
	Worms             []farm.SpeciesView
	Notes             []string // forecasts, water, food, fill: a sentence each
	JotURL            string
	Calm              bool
	Room              bool // the room's own curve is drawn beside the zone's
}

// A scene is what one request's pages are made of: all parts of one look.
type scene struct {
	voice
	p    *Page
	farm *farm.Farm
	view farm.View
	span span
	back string // where its forms lead back to
	torn bool   // some curve could not be read
}

func (p *Page) scene(sp span, back string) (*scene, error) {
	v, ok := p.cfg.Look()
	if !ok {
		return nil, p.notYet()
	}
	f := p.cfg.Farm()
	return &scene{voice: p.voice(f), p: p, farm: f, view: v, span: sp, back: back}, nil
}

// zone makes one zone's view. tall is the height of its pictures in px.
func (s *scene) zone(ctx context.Context, bin farm.Bin, z farm.ZoneView, tall int) zoneView {
	out := zoneView{
		Anchor: anchor(z.Bin, z.Zone), Name: z.Zone, Aim: aimWords[z.Aim],
		Worms: z.Species, JotURL: jotURL(z.Bin, z.Zone, ""),
	}
	for _, r := range s.view.Standing {
		if b, zn := s.placeOf(r); b == z.Bin && zn == z.Zone {
			out.Raised = append(out.Raised, s.raised(r))
		}
	}
	if newest := newestOf(z); !newest.IsZero() {
		out.Heard = s.age(newest)
	}
	for _, said := range z.Unsure(s.view.At, s.loc) {
		out.Unsure = append(out.Unsure, sentence(said))
	}
	out.Calm = len(out.Raised) == 0 && len(out.Unsure) == 0
	for _, q := range s.measured(bin, z) {
		out.Gauges = append(out.Gauges, s.gaugeOf(ctx, bin, z, q, tall, chart.Chart{}))
	}
	out.Notes = s.notes(z)
	return out
}

// newestOf is the time of the newest believed reading behind a zone's levels.
func newestOf(z farm.ZoneView) (at time.Time) {
	for _, l := range z.Levels {
		if l.At.After(at) {
			at = l.At
		}
	}
	return at
}

// measured are the quantities a zone shows: those it has a level or a probe
// for.
func (s *scene) measured(bin farm.Bin, z farm.ZoneView) []farm.Quantity {
	has := map[farm.Quantity]bool{}
	for q := range z.Levels {
		has[q] = true
	}
	if conf, ok := bin.ZoneByName(z.Zone); ok {
		for _, id := range conf.Probes {
			if p, ok := s.farm.ProbeByID(id); ok {
				has[p.Measures] = true
			}
		}
	}
	var out []farm.Quantity
	for _, q := range farm.QuantityNames() {
		if has[q] {
			out = append(out, q)
		}
	}
	return out
}

// gaugeOf draws one quantity of a zone over the scene's span.
func (s *scene) gaugeOf(ctx context.Context, bin farm.Bin, z farm.ZoneView, q farm.Quantity, tall int, cut chart.Chart) gauge {
	level := z.Level(q)
	samples, err := s.p.shelf.samples(ctx, s.p.cfg.History, curveKey{z.Bin, z.Zone, q, s.span.step}, s.now, s.span.back)
	if err != nil {
		s.p.cfg.Log.Error("page curve", "bin", z.Bin, "zone", z.Zone, "quantity", q, "error", err)
		s.torn = true
	}
	cut.Height, cut.Step, cut.Samples = tall, s.span.step, samples
	cut.From, cut.To = s.now.Add(-s.span.back), s.now.Add(s.span.ahead)
	if level != nil {
		cut.Bands = level.Bands // those that are judged
	}
	g := s.gauge(q, z.Aim, level, coneFor(q, level, cut.Bands, z.Outlook), cut)
	if z.LidOff != nil && z.LidOff.After(s.now) && level != nil {
		g.Shape, g.Word = "p-none", "lid off, not judged"
	}
	return g
}

// notes are the sentences under a zone's pictures.
func (s *scene) notes(z farm.ZoneView) []string {
	var out []string
	for _, o := range z.Outlook {
		if s.isRaised(z, o.Condition) {
			continue // what is raised has said so already
		}
		text := capital(strings.TrimSuffix(o.Text, "."))
		if when := s.interval(o.Forecast); when != "" {
			text += " (" + when + ")"
		}
		out = append(out, text+".")
	}
	if w := z.Water; w != nil && (w.WaterLitres > 0 || w.Wait != nil) {
		out = append(out, s.waterNote(*w))
	}
	for _, food := range z.Food {
		out = append(out, s.foodNote(food))
	}
	if z.StoredL > 0 {
		out = append(out, capital(s.units.Volume(z.StoredL))+" of castings are kept here.")
	}
	return out
}

func (s *scene) waterNote(w farm.Advice) string {
	if w.Do != "" && (w.Wait != nil || w.EveryDays > 0) {
		return w.Do
	}
	text := capital(s.units.Volume(w.WaterLitres)) + " of water would bring it to the middle of thrive"
	if w.VisitLitres > 0 && w.VisitLitres < w.WaterLitres*0.9 {
		text += "; " + s.units.Volume(w.VisitLitres) + " is enough for one visit"
	}
	if w.DryMassFrom != "" {
		text += " (dry mass: " + w.DryMassFrom + ")"
	}
	return text + "."
}

func (s *scene) foodNote(food farm.FoodView) string {
	what := "food"
	if food.Of != "" {
		what = food.Of
	}
	if food.Kg > 0 {
		what = s.units.Mass(food.Kg) + " of " + what
	}
	return fmt.Sprintf("%s, fed %s: %s.", capital(what), farm.SayDay(food.At, s.now, s.loc), leftWords(food.LeftPart))
}

// leftWords says how much food is left, as finely as anybody could tell by
// looking.
func leftWords(part float64) string {
	switch {
	case part > 0.85:
		return "nearly all of it is left"
	case part > 0.6:
		return "about three quarters are left"
	case part > 0.4:
		return "about half is left"
	case part > 0.15:
		return "about a quarter is left"
	}
	return "nearly gone"
}

// anchor is a zone's place on the page. Names may hold anything, so what is
// not a letter or digit is written as its code.
func anchor(bin, zone string) string {
	var b strings.Builder
	for _, r := range bin + "." + zone {
		if r == '.' || r == '-' || (r >= '0' && r <= '9') || (r >= 'a' && r <= 'z') || (r >= 'A' && r <= 'Z') {
			b.WriteRune(r)
		} else {
			fmt.Fprintf(&b, "_%x", r)
		}
	}
	return "z-" + b.String()
}
