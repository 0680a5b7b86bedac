package notify

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
)

// pictured says which curve shows a condition, and how far back it goes.
type pictured struct {
	quantity farm.Quantity
	back     time.Duration
	step     time.Duration
}

var curves = map[farm.Condition]pictured{
	farm.TooHot:      {farm.Temperature, 3 * day, 30 * time.Minute},
	farm.TooCold:     {farm.Temperature, 3 * day, 30 * time.Minute},
	farm.Heating:     {farm.Temperature, 3 * day, 30 * time.Minute},
	farm.TooDry:      {farm.Moisture, 14 * day, 3 * time.Hour},
	farm.TooWet:      {farm.Moisture, 14 * day, 3 * time.Hour},
	farm.Drying:      {farm.Moisture, 14 * day, 3 * time.Hour},
	farm.SiftReady:   {farm.Moisture, 14 * day, 3 * time.Hour},
	farm.SiftPassing: {farm.Moisture, 14 * day, 3 * time.Hour},
	farm.FeedDue:     {farm.Temperature, 14 * day, 3 * time.Hour},
	farm.Hatching:    {farm.Temperature, 14 * day, 3 * time.Hour},
}

const day = 24 * time.Hour

// pictures draws the curve that shows a change. A mail without its picture is
// better than no mail: whatever goes wrong here leaves it out.
func (w writer) pictures(ctx context.Context, c farm.Change) []picture {
	kind, ok := curves[c.Condition]
	if !ok || w.history == nil || c.Bin == "" {
		return nil
	}
	if back := w.now.Sub(c.Since) + day/2; !c.Since.IsZero() && back > kind.back {
		kind.back = min(back, 4*kind.back) // the whole episode, when it is not too long
	}
	pic, ok := w.chart(ctx, c.Bin, c.Zone, kind)
	if !ok {
		return nil
	}
	foresee(&pic, c)
	pic.Width, pic.Height = 360, 230
	png, err := pic.PNG()
	if err != nil {
		return nil
	}
	name := "curve-" + hashed(c.Episode)[:8] + ".png"
	return []picture{{Name: name, Alt: alt(pic), PNG: png, Width: 568}}
}

// chart gathers what a picture shows of the past.
func (w writer) chart(ctx context.Context, bin, zone string, kind pictured) (chart.Chart, bool) {
	from := w.now.Add(-kind.back)
	samples, err := w.history.Samples(ctx, bin, zone, kind.quantity, from, w.now, kind.step)
	if err != nil {
		return chart.Chart{}, false
	}
	samples = slices.DeleteFunc(samples, func(s farm.Sample) bool { return s.N == 0 || math.IsNaN(s.Mean) })
	if len(samples) < 2 {
		return chart.Chart{}, false
	}
	last := samples[len(samples)-1]
	c := chart.Chart{
		Title: place(&w.farm, farm.Change{Bin: bin, Zone: zone}) + ": " + string(kind.quantity),
		Unit:  w.unit(kind.quantity), Bands: w.bands(bin, zone, kind.quantity),
		From: from, To: w.now.Add(kind.back / 40), Now: w.now, Location: w.farm.Location,
		Step: kind.step, Samples: samples, Spread: true,
		Level: last.Mean, HasLevel: true, Fresh: w.now.Sub(last.At) < 3*kind.step,
	}
	if l := w.stands(bin, zone, kind.quantity); l != nil && l.Fresh {
		c.Level, c.Fresh = l.Value, true
	}
	c.Title += " " + c.Unit.String(c.Level)
	jots, _ := w.history.Jots(ctx, bin, from, w.now) // a picture without them is better than none
	for _, j := range jots {
		if j.Zone == "" || j.Zone == zone {
			c.Marks = append(c.Marks, chart.Mark{At: j.At, What: string(j.What)})
		}
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

// stands finds how a zone stands in one quantity; nil when that is not known.
func (w writer) stands(bin, zone string, q farm.Quantity) *farm.LevelView {
	z, ok := w.zone(bin, zone)
	if !ok {
		return nil
	}
	return z.Level(q)
}

// bands are those that the zone is held to; zero when not known.
func (w writer) bands(bin, zone string, q farm.Quantity) farm.Bands {
	if l := w.stands(bin, zone, q); l != nil {
		return l.Bands
	}
	return farm.Bands{}
}

// levelNow is the zone's level; NaN when it is not known.
func (w writer) levelNow(bin, zone string, q farm.Quantity) float64 {
	if l := w.stands(bin, zone, q); l != nil {
		return l.Value
	}
	return math.NaN()
}

// nextLimit is the limit that a condition's forecast speaks of: the next one in
// its direction from the level; NaN when there is none.
func nextLimit(c farm.Condition, b farm.Bands, level float64) float64 {
	switch {
	case b.IsZero():
	case c == farm.Heating, c == farm.TooHot:
		return b.Survive.High
	case c == farm.TooWet:
		return b.Survive.High
	case c == farm.TooCold:
		return b.Survive.Low
	case c == farm.Drying, c == farm.SiftReady:
		return b.Thrive.Low
	case (c == farm.TooDry || c == farm.SiftPassing) && level > b.Thrive.Low:
		return b.Thrive.Low
	case c == farm.TooDry, c == farm.SiftPassing:
		return b.Survive.Low
	}
	return math.NaN()
}

// foresee adds the forecast of a change, when the limit that it crosses is
// known.
func foresee(c *chart.Chart, ch farm.Change) {
	if ch.Forecast == nil || !ch.Forecast.Crosses.After(c.Now) {
		return
	}
	f := *ch.Forecast
	if f.Limit == 0 {
		f.Limit = nextLimit(ch.Condition, c.Bands, c.Level)
	}
	if math.IsNaN(f.Limit) {
		return
	}
	c.Cone = &chart.Cone{Limit: f.Limit, Crosses: f.Crosses, Earliest: f.Earliest, Latest: f.Latest}
	end := latest(f.Crosses, f.Latest)
	back := c.Now.Sub(c.From) // the forecast takes half of the picture at most
	c.To = latest(c.To, sooner(c.Now.Add(back), end.Add(back/20)))
}

// alt says in words what the picture shows.
func alt(c chart.Chart) string {
	low, high := math.Inf(1), math.Inf(-1)
	for _, s := range c.Samples {
		low, high = min(low, s.Min), max(high, s.Max)
	}
	return fmt.Sprintf("%s; between %s and %s over %s", c.Title, c.Unit.Number(low), c.Unit.String(high), farm.SayLong(c.Now.Sub(c.From)))
}
