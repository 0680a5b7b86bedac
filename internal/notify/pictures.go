package notify

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/plot/vg"

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
	cv, ok := w.curve(ctx, c.Bin, c.Zone, kind)
	if !ok {
		return nil
	}
	cv.foresee(c)
	cv.width, cv.height = vg.Points(360), vg.Points(230)
	png, err := cv.png()
	if err != nil {
		return nil
	}
	name := "curve-" + hashed(c.Episode)[:8] + ".png"
	return []picture{{Name: name, Alt: w.alt(cv), PNG: png, Width: 568}}
}

// curve gathers what a picture shows of the past.
func (w writer) curve(ctx context.Context, bin, zone string, kind pictured) (curve, bool) {
	from := w.now.Add(-kind.back)
	samples, err := w.history.Samples(ctx, bin, zone, kind.quantity, from, w.now, kind.step)
	if err != nil {
		return curve{}, false
	}
	samples = slices.DeleteFunc(samples, func(s farm.Sample) bool { return s.N == 0 || math.IsNaN(s.Mean) })
	if len(samples) < 2 {
		return curve{}, false
	}
	jots, err := w.history.Jots(ctx, bin, from, w.now)
	if err != nil {
		jots = nil
	}
	c := curve{
		title: place(&w.farm, farm.Change{Bin: bin, Zone: zone}) + ": " + string(kind.quantity),
		unit:  " %", shown: func(v float64) float64 { return v },
		samples: samples, step: kind.step, limit: math.NaN(), from: from, to: w.now.Add(kind.back / 40),
		now: w.now, loc: w.farm.Location, bands: w.bands(bin, zone, kind.quantity),
		jots: slices.DeleteFunc(jots, func(j farm.Jot) bool { return j.Zone != "" && j.Zone != zone }),
	}
	if kind.quantity == farm.Temperature {
		c.unit = " °C"
		if w.farm.Units == farm.US {
			c.unit, c.shown = " °F", farm.FahrenheitOf
		}
	}
	c.last = samples[len(samples)-1].Mean
	if l := w.stands(bin, zone, kind.quantity); l != nil && l.Fresh {
		c.last = l.Value
	}
	c.title += " " + c.figure(c.last)
	return c, true
}

// figure writes a level with its unit.
func (c curve) figure(v float64) string { return figure(c.shown(v)) + c.unit }

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
func (c *curve) foresee(ch farm.Change) {
	if ch.Forecast == nil || !ch.Forecast.Crosses.After(c.now) {
		return
	}
	limit := ch.Forecast.Limit
	if limit == 0 {
		limit = nextLimit(ch.Condition, c.bands, c.samples[len(c.samples)-1].Mean)
	}
	if math.IsNaN(limit) {
		return
	}
	c.limit, c.forecast = limit, *ch.Forecast
	end := latest(ch.Forecast.Crosses, ch.Forecast.Latest)
	most := c.now.Add(c.now.Sub(c.from)) // half of the picture at most
	c.to = latest(c.to, sooner(most, end.Add(c.now.Sub(c.from)/20)))
}

// alt says in words what the picture shows.
func (w writer) alt(c curve) string {
	low, high := math.Inf(1), math.Inf(-1)
	for _, s := range c.samples {
		low, high = min(low, s.Min), max(high, s.Max)
	}
	return fmt.Sprintf("%s; between %s and %s over %s", c.title, figure(c.shown(low)), c.figure(high), farm.SayLong(c.now.Sub(c.from)))
}
