package page

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
)

// A zoneView is one zone as the page shows it.
type zoneView struct {
	Zone   farm.ZoneView
	Name   string
	Heard  string // age of the newest believed reading; "" when there is none
	Raised []raisedView
	Unsure []string // what can't be said of it now, a sentence each
	Gauges []gauge
	Notes  []string // forecasts, water, food, fill: a sentence each
	Room   bool     // the room's own curve is drawn beside the zone's
}

// A dress begins the picture of a zone's i-th quantity with its height and what the
// page shows in it besides the curve.
type dress func(z farm.ZoneView, i int, q farm.Quantity) chart.Chart

// zone makes one zone's view.
func (v *visit) zone(bin farm.Bin, z farm.ZoneView, dress dress) zoneView {
	out := zoneView{Zone: z, Name: z.Zone, Raised: v.raisedIn[farm.Place{Bin: z.Bin, Zone: z.Zone}], Notes: v.notes(z)}
	var newest time.Time // believed reading behind the levels
	for _, l := range z.Levels {
		if l.At.After(newest) {
			newest, out.Heard = l.At, v.Age(l.At)
		}
	}
	for _, said := range z.Unsure(v.View.At, v.dates()) {
		out.Unsure = append(out.Unsure, sentence(said))
	}
	for i, q := range v.measured(bin, z) {
		cut := dress(z, i, q)
		out.Room = out.Room || len(cut.Room) > 0
		out.Gauges = append(out.Gauges, v.gaugeOf(bin, z, q, cut))
	}
	return out
}

// measured are the quantities a zone shows, in the order of the table: those it
// has a level or a probe for, and when it is retired those it has a past of.
func (v *visit) measured(bin farm.Bin, z farm.ZoneView) []farm.Quantity {
	conf, _ := bin.ZoneByName(z.Zone)
	retired := v.retired(z) != ""
	return slices.DeleteFunc(farm.QuantityNames(), func(q farm.Quantity) bool {
		probed := slices.ContainsFunc(conf.Probes, func(id string) bool {
			p, ok := v.Farm.ProbeByID(id)
			return ok && p.Measures == q
		})
		return z.Level(q) == nil && !probed && !(retired && len(v.curve(z.Bin, z.Zone, q)) > 0)
	})
}

// gaugeOf draws one quantity of a zone over the visit's span.
func (v *visit) gaugeOf(bin farm.Bin, z farm.ZoneView, q farm.Quantity, cut chart.Chart) gauge {
	row, level := q.Row(), z.Level(q)
	cut.Step, cut.Samples = v.span.step, v.curve(z.Bin, z.Zone, q)
	cut.From, cut.To = v.drawn.Add(-v.span.back), v.drawn.Add(v.span.ahead)
	cut.Bands, cut.Whole = bands(bin, z, row), row.Bands
	cut.Cone = coneFor(q, level, cut.Bands, z.Outlook)
	g := v.gauge(row, z.Aim, level, cut)
	g.ID = anchor(z.Bin, z.Zone+"."+string(q))
	if z.LidOff != nil && z.LidOff.After(v.now) && level != nil {
		g.Shape, g.Word = "p-none", "lid off, not judged"
	}
	if g.Shape == "p-in" && slices.ContainsFunc(v.View.Standing, func(r farm.Standing) bool {
		return r.Bin == z.Bin && r.Zone == z.Zone && r.Condition.Row().Band && r.JudgedBy() == q
	}) {
		g.Word += " again" // what is raised is over once it has stayed so
	}
	return g
}

// curve gives the samples of a zone's quantity over the visit's span; those of
// the zone "" are of the air around the bin. Where they can't be read there are
// none, and the page says so.
func (v *visit) curve(bin, zone string, q farm.Quantity) []farm.Sample {
	samples, err := v.curves.samples(v.r.Context(), v.cfg.History, curveKey{bin, zone, q, v.span.step}, v.now, v.span.back)
	v.torn(err, "page curve", "bin", bin, "zone", zone, "quantity", q)
	return samples
}

// bands are those that a quantity is judged by. What is judged by the limits of
// its zone and nothing else has one band, past which lies harm.
func bands(bin farm.Bin, z farm.ZoneView, row *farm.QuantityRow) farm.Bands {
	level := z.Level(row.Name)
	if level == nil {
		return farm.Bands{}
	}
	conf, _ := bin.ZoneByName(z.Zone)
	if limits, ok := conf.Limits[row.Name]; ok && row.Limits && level.Bands.IsZero() {
		return farm.Bands{Thrive: limits, Survive: limits}
	}
	return level.Bands
}

// notes are the sentences under a zone's pictures.
func (v *visit) notes(z farm.ZoneView) []string {
	var out []string
	if said := v.retired(z); said != "" {
		out = append(out, said)
	}
	for _, o := range z.Outlook {
		raised := func(r farm.Standing) bool { return r.Bin == z.Bin && r.Zone == z.Zone && r.Condition == o.Condition }
		if slices.ContainsFunc(v.View.Standing, raised) {
			continue // what is raised has said so already
		}
		text := o.Text
		if when := v.interval(&o.Forecast); when != "" {
			text = strings.TrimSuffix(text, ".") + " (" + when + ")"
		}
		out = append(out, sentence(text))
	}
	if w := z.Water; w != nil && (w.WaterLitres > 0 || w.Wait != nil) {
		out = append(out, v.waterNote(w))
	}
	for _, food := range z.Food {
		out = append(out, v.foodNote(food))
	}
	if z.StoredL > 0 {
		out = append(out, farm.Capital(v.units.Volume(z.StoredL))+" of castings are kept here.")
	}
	return out
}

func (v *visit) waterNote(w *farm.Advice) string {
	if w.Do != "" && (w.Wait != nil || w.EveryDays > 0) {
		return w.Do
	}
	text := farm.Capital(v.units.VolumeRange(cmp.Or(w.LitresLow, w.WaterLitres), cmp.Or(w.LitresHigh, w.WaterLitres))) + " of water would bring it to the middle of what suits it"
	if w.VisitLitres > 0 && w.VisitLitres < w.WaterLitres*0.9 {
		text += "; begin with " + v.units.VolumeBeside(w.VisitLitres, w.LitresLow, w.LitresHigh)
	}
	if w.DryMassFrom != "" {
		text += " (dry mass: " + w.DryMassFrom + ")"
	}
	if w.DryMassTold > 0 {
		text += "; " + v.units.MassGiven(w.DryMassTold) + " was told"
	}
	return text + "."
}

// foodNote says how much of a feed is left as finely as anybody could tell by
// looking.
func (v *visit) foodNote(food farm.FoodView) string {
	what, left := cmp.Or(food.Of, "food"), "nearly gone"
	if food.Kg > 0 {
		what = v.units.Mass(food.Kg) + " of " + what
	}
	switch part := food.LeftPart; {
	case part > 0.85:
		left = "nearly all of it is left"
	case part > 0.6:
		left = "about three quarters are left"
	case part > 0.4:
		left = "about half is left"
	case part > 0.15:
		left = "about a quarter is left"
	}
	return fmt.Sprintf("%s, fed %s: %s.", farm.Capital(what), v.dates().Day(food.At, v.now), left)
}
