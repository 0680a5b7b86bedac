package notify

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
)

// level finds how a zone stands in one quantity; nil when that is not known.
func (w writer) level(bin, zone string, q farm.Quantity) *farm.LevelView {
	z, _ := w.view.Zone(bin, zone)
	return z.Level(q)
}

// readings are how the zone or the probe of a change stands, and what was
// believed of it.
func (w writer) readings(c farm.Change) part {
	p := part{Title: "How it stands"}
	row := func(name, said string) { p.Rows = append(p.Rows, [2]string{name, said}) }
	z, known := w.view.Zone(c.Bin, c.Zone)
	if known {
		for _, q := range farm.Quantities {
			if l := z.Level(q.Name); l != nil {
				row(farm.Capital(q.Noun), w.levelLine(l, &q))
			}
		}
		if said := worms(z); said != "" {
			row("Worms", said)
		}
		for _, said := range z.Unsure(w.now, w.farm.Dates()) {
			row("Not known", said)
		}
	}
	bin, _ := w.farm.BinByName(c.Bin)
	zone, _ := bin.ZoneByName(c.Zone)
	for _, pv := range w.view.Probes {
		if pv.ID == c.Probe || known && slices.Contains(zone.Probes, pv.ID) {
			row("Probe "+pv.ID, w.probe(pv))
		}
	}
	return p
}

// levelLine writes a level with its bands.
func (w writer) levelLine(l *farm.LevelView, q *farm.QuantityRow) string {
	beside := func(v float64) string { return l.Say(w.farm.Units, q.Name, v) }
	line := beside(l.Value)
	if ends := l.Ends(beside); ends != "" {
		line += " (" + ends + ")"
	}
	if !l.Fresh {
		line += ", " + farm.SayLong(w.now.Sub(l.At)) + " ago"
	}
	if l.Bands.IsZero() {
		return line
	}
	say := q.Written(w.farm.Units)
	return fmt.Sprintf("%s (does well at %s, survives %s)", line, span(say, l.Bands.Thrive), span(say, l.Bands.Survive))
}

// span writes a band with its unit once: "15 to 25 °C".
func span(say farm.Written, b farm.Band) string {
	return say.Number(b.Low) + " to " + say.String(b.High)
}

// worms says how each species does, those that suffer first.
func worms(z farm.ZoneView) string {
	names, order := map[string][]string{}, []string(nil)
	for _, word := range farm.Wellbeings {
		for _, sp := range z.Species {
			if sp.Word == word {
				names[sp.Says()] = append(names[sp.Says()], sp.Named())
				order = append(order, sp.Says())
			}
		}
	}
	var said []string
	for _, how := range distinct(order) {
		said = append(said, farm.SayList(names[how])+" "+how)
	}
	return farm.Capital(strings.Join(said, "; "))
}

// probe says what a probe last said, and whether that was believed.
func (w writer) probe(p farm.ProbeView) string {
	if p.Value == nil || p.At.IsZero() {
		return "has said nothing yet"
	}
	line := w.number(p) + ", " + farm.SayLong(w.now.Sub(p.At)) + " ago"
	if p.Doubt != "" {
		return line + "; not believed: " + p.Doubt
	}
	if len(p.Flags) > 0 {
		line += "; " + strings.Join(p.Flags, ", ")
	}
	return line
}

// number is what a probe last said, in its unit.
func (w writer) number(p farm.ProbeView) string {
	row := p.Measures.Row()
	if spec, ok := w.farm.ProbeByID(p.ID); ok {
		row = spec.Row()
	}
	return row.Written(w.farm.Units).String(*p.Value)
}

// done are the last lines of the bin's logbook, newest first.
func (w writer) done(ctx context.Context, c farm.Change) part {
	const shown = 4
	p := part{Title: "What was done"}
	for _, j := range slices.Backward(w.jots(ctx, c.Bin, c.Zone, 14*day)) {
		if len(p.List) < shown {
			p.List = append(p.List, w.jot(j))
		}
	}
	return p
}

// jots are the lines of the logbook about a zone, as far back as back; none where
// they cannot be read: a mail without them is better than none.
func (w writer) jots(ctx context.Context, bin, zone string, back time.Duration) []farm.Jot {
	if w.history == nil || bin == "" {
		return nil
	}
	all, err := w.history.Jots(ctx, bin, w.now.Add(-back), w.now)
	if err != nil {
		return nil
	}
	return slices.DeleteFunc(all, func(j farm.Jot) bool { return j.Zone != "" && j.Zone != zone })
}

// samples are what is known of a zone over a period; none where that cannot be read.
func (w writer) samples(ctx context.Context, bin, zone string, over period) []farm.Sample {
	all, err := w.history.Samples(ctx, bin, zone, over.quantity, w.now.Add(-over.back), w.now, over.step)
	if err != nil {
		return nil
	}
	return slices.DeleteFunc(all, func(s farm.Sample) bool { return s.N == 0 || math.IsNaN(s.Mean) })
}

// jot writes a line of the logbook: "Yesterday about 4 pm: fed about 2 kg of grain".
func (w writer) jot(j farm.Jot) string {
	return farm.Capital(w.time(j.At)) + ": " + j.Said(w.farm.Units.Mass, w.farm.Units.Volume)
}

// A period says which curve is drawn, and how far back it goes.
type period struct {
	quantity   farm.Quantity
	back, step time.Duration
}

// periodOf is the curve that shows a condition; ok is false where none does.
func periodOf(c farm.Change) (p period, ok bool) {
	const hasty = time.Hour // a level whose median spans more changes over days
	switch q := c.JudgedBy(); {
	case c.Condition.Row().About != farm.AboutZone:
		return p, false
	case q == "": // it is judged by the logbook, and what was done is seen in the warmth
		return period{farm.Temperature, 14 * day, 3 * time.Hour}, true
	case q.Row().Median > hasty:
		return period{q, 14 * day, 3 * time.Hour}, true
	default:
		return period{q, 3 * day, 30 * time.Minute}, true
	}
}

// pictures draws the curve that shows a change. A mail without its picture is
// better than no mail: whatever goes wrong here leaves it out.
func (w writer) pictures(ctx context.Context, c farm.Change) []picture {
	over, ok := periodOf(c)
	if !ok || w.history == nil || c.Bin == "" {
		return nil
	}
	if back := w.now.Sub(c.Since) + day/2; !c.Since.IsZero() && back > over.back {
		over.back = min(back, 4*over.back) // the whole episode, when it is not too long
	}
	pic, ok := w.chart(ctx, c.Bin, c.Zone, over)
	if !ok {
		return nil
	}
	foresee(&pic, c)
	pic.Width, pic.Height = 360, 230
	return drawn(pic, "curve-"+hashed(c.Episode)[:8], 568)
}

// drawn is a chart as a picture of a mail, width px wide; none where it cannot
// be drawn.
func drawn(c chart.Chart, name string, width int) []picture {
	png, err := c.PNG()
	if err != nil {
		return nil
	}
	b := chart.Swing(c.Samples)
	alt := fmt.Sprintf("%s; between %s and %s over %s", c.Title, c.Unit.Number(b.Low), c.Unit.String(b.High), farm.SayLong(c.Now.Sub(c.From)))
	return []picture{{Name: name + ".png", Alt: alt, PNG: png, Width: width}}
}

// chart gathers what a picture shows of the past.
func (w writer) chart(ctx context.Context, bin, zone string, over period) (chart.Chart, bool) {
	samples := w.samples(ctx, bin, zone, over)
	if len(samples) < 2 {
		return chart.Chart{}, false
	}
	last := samples[len(samples)-1]
	c := chart.Chart{
		Unit: w.unit(over.quantity),
		From: w.now.Add(-over.back), To: w.now.Add(over.back / 40), Now: w.now, Dates: w.farm.Dates(),
		Step: over.step, Samples: samples, Spread: true,
		Level: last.Mean, HasLevel: true, Fresh: w.now.Sub(last.At) < 3*over.step,
	}
	if l := w.level(bin, zone, over.quantity); l != nil {
		c.Bands = l.Bands
		if l.Fresh {
			c.Level, c.Fresh = l.Value, true
		}
	}
	c.Title = w.zonePlace(bin, zone) + ": " + over.quantity.Row().Noun + " " + c.Unit.String(c.Level)
	for _, j := range w.jots(ctx, bin, zone, over.back) {
		c.Marks = append(c.Marks, chart.Mark{At: j.At, What: string(j.What)})
	}
	return c, true
}

// unit is how the farm's people read a quantity in a picture: as finely as a
// probe says it.
func (w writer) unit(q farm.Quantity) farm.Written {
	row := q.Row()
	u := row.Written(w.farm.Units)
	if row.Resolution > 0 {
		u.Digits = max(0, int(math.Floor(-math.Log10(row.Resolution)+1e-9)))
	}
	return u
}

// foresee adds the forecast of a change, when the limit that it crosses is
// known.
func foresee(c *chart.Chart, ch farm.Change) {
	if ch.Forecast == nil || !ch.Forecast.Crosses.After(c.Now) {
		return
	}
	f := *ch.Forecast
	if f.Limit == 0 {
		limit, ok := nextLimit(ch.Condition, c.Bands, c.Level)
		if !ok {
			return
		}
		f.Limit = limit
	}
	c.Cone = &chart.Cone{Limit: f.Limit, Crosses: f.Crosses, Earliest: f.Earliest, Latest: f.Latest}
	end := latest(f.Crosses, f.Latest)
	back := c.Now.Sub(c.From) // the forecast takes half of the picture at most
	c.To = latest(c.To, sooner(c.Now.Add(back), end.Add(back/20)))
}
