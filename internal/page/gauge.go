package page

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
)

// A gauge is one quantity of one zone: the level as a number, where it stands
// in its bands as a shape and a word, and the curve that led there.
type gauge struct {
	Name    string // temperature, moisture, CO2
	Value   string // "" when there is no believed reading
	Ends    string // the probes at both ends; "" where one speaks
	Word    string
	Shape   string // symbol of the sprite
	Age     string // of the newest believed reading
	Old     bool
	Picture template.HTML
	Least   string // over the picture's time; "" where nothing is known
	Most    string
}

// standing says where a level stands in its bands, as shape and word.
func standing(q farm.Quantity, aim farm.Aim, x float64, b farm.Bands) (shape, word string) {
	words := q.Row().Stands
	switch {
	case q.Row().Limits:
		words = [...]string{"below its limit", "", "within its limits", "", "above its limit"}
	case q == farm.Moisture && aim == farm.Sifting:
		words = [...]string{"turning to dust", "too dry to sift well", "fit to sift", "still too damp to sift", "wet"}
	}
	switch {
	case b.IsZero():
		return "", ""
	case x < b.Survive.Low:
		return "p-far-below", words[0]
	case x > b.Survive.High:
		return "p-far-above", words[4]
	case x < b.Thrive.Low:
		return "p-below", words[1]
	case x > b.Thrive.High:
		return "p-above", words[3]
	}
	return "p-in", words[2]
}

// gauge makes a gauge; cut comes with its times, marks and height set.
func (v format) gauge(q farm.Quantity, aim farm.Aim, l *farm.LevelView, cone *chart.Cone, cut chart.Chart) gauge {
	row := q.Row()
	g := gauge{Name: row.Noun, Shape: "p-none", Word: "no believed reading"}
	cut.Unit, cut.Cone, cut.Location, cut.Now = row.Written(v.units), cone, v.loc, v.now
	if l != nil {
		cut.Level, cut.HasLevel, cut.Fresh = l.Value, true, l.Fresh
		g.Value, g.Age, g.Old = l.Say(v.units, q, l.Value), v.age(l.At), !l.Fresh
		g.Shape, g.Word = standing(q, aim, l.Worst(), cut.Bands)
		g.Ends = l.Ends(func(x float64) string { return l.Say(v.units, q, x) })
		if g.Old { // where it stands now nobody can say
			g.Shape, g.Word = "p-none", strings.TrimSpace("was "+g.Word)
		}
	}
	if least, most, ok := extremes(cut.Samples); ok {
		g.Least, g.Most = cut.Unit.String(least), cut.Unit.String(most)
	}
	cut.Label = label(g, v.now.Sub(cut.From))
	g.Picture = cut.SVG()
	return g
}

// label says what the picture shows beyond the words beside it.
func label(g gauge, back time.Duration) string {
	s := farm.Capital(g.Name) + " over " + farm.SayLong(back)
	if g.Least == "" {
		return s + ", nothing heard."
	}
	return s + fmt.Sprintf(", from %s to %s.", g.Least, g.Most)
}

func extremes(samples []farm.Sample) (least, most float64, ok bool) {
	if len(samples) == 0 {
		return 0, 0, false
	}
	least, most = math.Inf(1), math.Inf(-1)
	for _, s := range samples {
		least, most = min(least, s.Min), max(most, s.Max)
	}
	return least, most, true
}

// coneFor finds the forecast to draw in a quantity's picture and the limit it
// speaks of.
func coneFor(q farm.Quantity, l *farm.LevelView, b farm.Bands, outlook []farm.Outlook) *chart.Cone {
	if l == nil || b.IsZero() {
		return nil
	}
	for _, o := range outlook {
		f := o.Forecast
		if o.Condition.Quantity() == q && !(f.Crosses.IsZero() && f.Earliest.IsZero()) {
			limit := limitOf(o.Condition, l.Value, b)
			return &chart.Cone{Limit: limit, Crosses: f.Crosses, Earliest: f.Earliest, Latest: f.Latest}
		}
	}
	return nil
}

// limitOf is the limit that the forecast of a condition speaks of.
func limitOf(c farm.Condition, x float64, b farm.Bands) float64 {
	row := c.Row()
	switch {
	case c == farm.Heating:
		return b.Survive.High
	case c == farm.SiftReady, row.Side == farm.Above && x <= b.Thrive.High:
		return b.Thrive.High
	case row.Side == farm.Above:
		return b.Survive.High
	case row.Foreseen, x >= b.Thrive.Low: // drying out, or the time to sift is passing
		return b.Thrive.Low
	}
	return b.Survive.Low
}
