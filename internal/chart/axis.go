package chart

import (
	"cmp"
	"math"
	"strconv"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// A tick is a marked place on an axis.
type tick struct {
	at   float64 // across: 0 at From, 1 at To; upright: an inner value
	name string  // "": there is no room for one
}

// A scale is what an axis reaches over, in inner units.
type scale struct{ low, high float64 }

// nowhere is a scale that takes its ends from whatever it is widened by.
var nowhere = scale{math.Inf(1), math.Inf(-1)}

// with is the scale widened so that it holds values.
func (s scale) with(vs ...float64) scale {
	for _, v := range vs {
		s = scale{min(s.low, v), max(s.high, v)}
	}
	return s
}

// share is where v lies: 0 at the low end, 1 at the high one.
func (s scale) share(v float64) float64 { return (v - s.low) / (s.high - s.low) }

// holds tells whether v lies on the axis.
func (s scale) holds(v float64) bool { return v >= s.low && v <= s.high }

// Swing is the least and the most of samples; of none, the least is above the most.
func Swing(samples []farm.Sample) farm.Band {
	s := nowhere
	for _, a := range samples {
		s = s.with(a.Min, a.Max)
	}
	return farm.Band{Low: s.low, High: s.high}
}

// values is what the upright axis reaches over: the curve, the level and the
// forecast's limit, every end of a band that is near enough to matter, and a
// little room. Whole takes in every end.
func (c Chart) values() scale {
	b := Swing(c.Samples)
	s := scale{b.Low, b.High}
	for _, a := range c.Room {
		s = s.with(a.Mean)
	}
	if c.HasLevel {
		s = s.with(c.Level-0.5, c.Level+0.5)
	}
	if c.Cone != nil {
		s = s.with(c.Cone.Limit)
	}
	if !c.Bands.IsZero() {
		near := max(0.6*(s.high-s.low), 4)
		seen := scale{s.low - near, s.high + near}
		for _, end := range []float64{c.Bands.Thrive.Low, c.Bands.Thrive.High, c.Bands.Survive.Low, c.Bands.Survive.High} {
			if c.Whole || seen.holds(end) {
				s = s.with(end)
			}
		}
	}
	if s.low > s.high {
		return scale{0, 1}
	}
	room := max(0.12*(s.high-s.low), 1-(s.high-s.low)/2)
	return scale{s.low - room, s.high + room}
}

// levels are round numbers of the unit that people read, at most seven, the
// unit's name on the highest.
func (f frame) levels() []tick {
	low, high := f.Unit.In.Outer(f.low), f.Unit.In.Outer(f.high)
	step := roundStep((high - low) / 5)
	var out []tick
	for v := math.Ceil(low/step) * step; v <= high; v += step {
		out = append(out, tick{f.Unit.In.Inner(v), tenths(v)})
	}
	if n := len(out); n > 0 {
		out[n-1].name = strings.TrimSpace(out[n-1].name + " " + f.Unit.Word)
	}
	return out
}

// roundStep is the next of 1, 2, 5, 10, 20, … that is not under v, at least a half.
func roundStep(v float64) float64 {
	if v <= 0.5 {
		return 0.5
	}
	ten := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if v <= m*ten {
			return m * ten
		}
	}
	return 10 * ten
}

// tenths writes v with at most one decimal.
func tenths(v float64) string {
	return strconv.FormatFloat(math.Round(v*10)/10+0, 'f', -1, 64) // +0: no minus before a zero
}

// across is the place of t between the picture's edges, 0 to 1 inside it.
func (c Chart) across(t time.Time) float64 {
	return float64(t.Sub(c.From)) / float64(c.To.Sub(c.From))
}

// within tells whether t lies inside the picture.
func (c Chart) within(t time.Time) bool { return !t.Before(c.From) && !t.After(c.To) }

// days are local midnights, of every day, of every few days or of the first of
// a month, whichever leaves room for names on a phone. A day of 23 or 25 hours
// is one day.
func (c Chart) days() []tick {
	loc := cmp.Or(c.Dates.Location, time.UTC)
	y, m, d := c.From.In(loc).Date()
	every, layout := 1, "Mon"
	at := func(i int) time.Time { return time.Date(y, m, d+1+i*every, 0, 0, 0, 0, loc) }
	month := func(i int) time.Time { return time.Date(y, m+time.Month(1+i*every), 1, 0, 0, 0, 0, loc) }
	switch n := int(c.To.Sub(c.From).Hours()/24) + 1; {
	case n > 150:
		every, layout, at = 3, "Jan 06", month
	case n > 60:
		layout, at = "Jan", month
	case n > 9:
		every, layout = (n+5)/6, c.Dates.DayMonth()
	}
	var out []tick
	for i := 0; at(i).Before(c.To); i++ {
		mark := tick{at: c.across(at(i))}
		if mark.at < 0.93 {
			mark.name = at(i).Format(layout)
		}
		out = append(out, mark)
	}
	return out
}

// A layer is a stretch of a picture of some height that is of one kind to the bin:
// harm, bear or thrive. Both ends are measured from the top.
type layer struct {
	kind        string
	top, bottom float64
}

// layers are the grounds of the bands in a picture of a height, from the top
// down: harm, bear, thrive, bear, harm. Those that cannot be seen are left out.
func (f frame) layers(height float64) []layer {
	if f.Bands.IsZero() {
		return nil
	}
	down := func(v float64) float64 { return height * (1 - min(max(f.share(v), 0), 1)) }
	b := f.Bands
	ends := []float64{0, down(b.Survive.High), down(b.Thrive.High), down(b.Thrive.Low), down(b.Survive.Low), height}
	var out []layer
	for i, kind := range []string{"harm", "bear", "thrive", "bear", "harm"} {
		if ends[i+1]-ends[i] >= 0.5 {
			out = append(out, layer{kind, ends[i], ends[i+1]})
		}
	}
	return out
}
