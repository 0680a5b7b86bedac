package page

import (
	"cmp"
	"context"
	"fmt"
	"regexp"
	"slices"
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
	format
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
	return &scene{format: p.format(f), p: p, farm: f, view: v, span: sp, back: back}, nil
}

// A dress begins the picture of a zone's i-th quantity with what the page shows
// in it besides the curve; nil shows nothing else.
type dress func(z farm.ZoneView, i int, q farm.Quantity) chart.Chart

// zone makes one zone's view. tall is the height of its pictures in px.
func (s *scene) zone(ctx context.Context, bin farm.Bin, z farm.ZoneView, tall int, dress dress) zoneView {
	out := zoneView{
		Anchor: anchor(z.Bin, z.Zone), Name: z.Zone, Aim: aimWords[z.Aim],
		Worms: z.Species, JotURL: jotURL(z.Bin, z.Zone, ""),
	}
	for _, r := range s.view.Standing {
		if b, zn := s.placeOf(r); b == z.Bin && zn == z.Zone {
			out.Raised = append(out.Raised, s.raised(r))
		}
	}
	var newest time.Time // believed reading behind the levels
	for _, l := range z.Levels {
		if l.At.After(newest) {
			newest = l.At
		}
	}
	if !newest.IsZero() {
		out.Heard = s.age(newest)
	}
	for _, said := range z.Unsure(s.view.At, s.loc) {
		out.Unsure = append(out.Unsure, sentence(said))
	}
	out.Calm = len(out.Raised) == 0 && len(out.Unsure) == 0
	for i, q := range s.measured(bin, z) {
		var cut chart.Chart
		if dress != nil {
			cut = dress(z, i, q)
		}
		out.Room = out.Room || len(cut.Room) > 0
		out.Gauges = append(out.Gauges, s.gaugeOf(ctx, bin, z, q, tall, cut))
	}
	out.Notes = s.notes(z)
	return out
}

// measured are the quantities a zone shows, in the order of the table: those it
// has a level or a probe for.
func (s *scene) measured(bin farm.Bin, z farm.ZoneView) []farm.Quantity {
	conf, _ := bin.ZoneByName(z.Zone)
	return slices.DeleteFunc(farm.QuantityNames(), func(q farm.Quantity) bool {
		probed := slices.ContainsFunc(conf.Probes, func(id string) bool {
			p, ok := s.farm.ProbeByID(id)
			return ok && p.Measures == q
		})
		return z.Level(q) == nil && !probed
	})
}

// gaugeOf draws one quantity of a zone over the scene's span.
func (s *scene) gaugeOf(ctx context.Context, bin farm.Bin, z farm.ZoneView, q farm.Quantity, tall int, cut chart.Chart) gauge {
	level := z.Level(q)
	cut.Height, cut.Step, cut.Samples = tall, s.span.step, s.curve(ctx, z.Bin, z.Zone, q)
	cut.From, cut.To = s.now.Add(-s.span.back), s.now.Add(s.span.ahead)
	cut.Bands, cut.Whole = bands(bin, z, q), q.Row().Bands
	g := s.gauge(q.Row(), z.Aim, level, coneFor(q, level, cut.Bands, z.Outlook), cut)
	if z.LidOff != nil && z.LidOff.After(s.now) && level != nil {
		g.Shape, g.Word = "p-none", "lid off, not judged"
	}
	return g
}

// curve gives the samples of a zone's quantity over the scene's span; those of
// the zone "" are of the air around the bin. Where they can't be read there are
// none, and the page says so.
func (s *scene) curve(ctx context.Context, bin, zone string, q farm.Quantity) []farm.Sample {
	key := curveKey{bin, zone, q, s.span.step}
	samples, err := s.p.curves.samples(ctx, s.p.cfg.History, key, s.now, s.span.back)
	if err != nil {
		s.p.cfg.Log.Error("page curve", "bin", bin, "zone", zone, "quantity", q, "error", err)
		s.torn = true
	}
	return samples
}

// bands are those that a quantity is judged by. What is judged by the limits of
// its zone and nothing else has one band, past which lies harm.
func bands(bin farm.Bin, z farm.ZoneView, q farm.Quantity) farm.Bands {
	level := z.Level(q)
	if level == nil {
		return farm.Bands{}
	}
	if conf, _ := bin.ZoneByName(z.Zone); q.Row().Limits && level.Bands.IsZero() {
		if limits, ok := conf.Limits[q]; ok {
			return farm.Bands{Thrive: limits, Survive: limits}
		}
	}
	return level.Bands
}

// notes are the sentences under a zone's pictures.
func (s *scene) notes(z farm.ZoneView) []string {
	var out []string
	for _, o := range z.Outlook {
		if s.isRaised(z, o.Condition) {
			continue // what is raised has said so already
		}
		text := farm.Capital(strings.TrimSuffix(o.Text, "."))
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
		out = append(out, farm.Capital(s.units.Volume(z.StoredL))+" of castings are kept here.")
	}
	return out
}

func (s *scene) waterNote(w farm.Advice) string {
	if w.Do != "" && (w.Wait != nil || w.EveryDays > 0) {
		return w.Do
	}
	text := farm.Capital(s.units.Volume(w.WaterLitres)) + " of water would bring it to the middle of thrive"
	if w.VisitLitres > 0 && w.VisitLitres < w.WaterLitres*0.9 {
		text += "; " + s.units.Volume(w.VisitLitres) + " is enough for one visit"
	}
	if w.DryMassFrom != "" {
		text += " (dry mass: " + w.DryMassFrom + ")"
	}
	return text + "."
}

func (s *scene) foodNote(food farm.FoodView) string {
	what := cmp.Or(food.Of, "food")
	if food.Kg > 0 {
		what = s.units.Mass(food.Kg) + " of " + what
	}
	return fmt.Sprintf("%s, fed %s: %s.", farm.Capital(what), farm.SayDay(food.At, s.now, s.loc), leftWords(food.LeftPart))
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

var notInAnchor = regexp.MustCompile("[^-.0-9a-zA-Z]")

// anchor is a zone's place on the page. Names may hold anything, so what is
// not a letter or digit is written as its code.
func anchor(bin, zone string) string {
	return "z-" + notInAnchor.ReplaceAllStringFunc(bin+"."+zone, func(r string) string { return fmt.Sprintf("_%x", []rune(r)[0]) })
}
