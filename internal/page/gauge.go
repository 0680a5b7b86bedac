package page

import (
	"cmp"
	"context"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
)

// A gauge is one quantity of one zone: the level as a number, where it stands
// in its bands as a shape and a word, and the curve that led there.
type gauge struct {
	ID      string
	Name    string // temperature, moisture, CO2
	Value   string // "" when there is no believed reading
	Ends    string // the probes at both ends; "" where one speaks
	Word    string
	Shape   string // symbol of the sprite
	Age     string // of the newest believed reading where that is not fresh; else ""
	Picture template.HTML
	Least   string // over the picture's time; "" where nothing is known
	Most    string
}

// standing says where a level stands in its bands, as shape and word.
func standing(row *farm.QuantityRow, aim farm.Aim, x float64, b farm.Bands) (shape, word string) {
	words := row.Stands
	switch {
	case row.Limits:
		words = [...]string{"below its limit", "", "within its limits", "", "above its limit"}
	case row.Name == farm.Moisture && aim == farm.Sifting:
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

// gauge makes a gauge; cut comes with its times, forecast, marks and height set.
func (v *visit) gauge(row *farm.QuantityRow, aim farm.Aim, l *farm.LevelView, cut chart.Chart) gauge {
	g := gauge{Name: row.Noun, Shape: "p-none", Word: "no believed reading"}
	cut.Unit, cut.Dates, cut.Now = row.Written(v.units), v.dates(), v.drawn
	if l != nil {
		cut.Level, cut.HasLevel, cut.Fresh = l.Value, true, l.Fresh
		say := func(x float64) string { return l.Say(v.units, row.Name, x) }
		g.Value, g.Ends = say(l.Value), l.Ends(say)
		g.Shape, g.Word = standing(row, aim, l.Worst(), cut.Bands)
		if !l.Fresh { // where it stands now nobody can say
			g.Age, g.Shape, g.Word = v.Age(l.At), "p-none", strings.TrimSpace("was "+g.Word)
		}
	}
	cut.Label = farm.Capital(g.Name) + " over " + farm.SayLong(v.drawn.Sub(cut.From))
	if len(cut.Samples) == 0 {
		cut.Label += ", nothing heard."
	} else {
		least, most := math.Inf(1), math.Inf(-1)
		for _, s := range cut.Samples {
			least, most = min(least, s.Min), max(most, s.Max)
		}
		g.Least, g.Most = cut.Unit.String(least), cut.Unit.String(most)
		cut.Label += fmt.Sprintf(", from %s to %s.", g.Least, g.Most)
	}
	g.Picture = cut.SVG()
	return g
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
			return &chart.Cone{Limit: limitOf(o.Condition, l.Value, b), Crosses: f.Crosses, Earliest: f.Earliest, Latest: f.Latest}
		}
	}
	return nil
}

// limitOf is the limit that the forecast of a condition speaks of.
func limitOf(c farm.Condition, x float64, b farm.Bands) float64 {
	row := c.Row()
	switch {
	case c == farm.Heating, c == farm.Warming:
		return b.Survive.High
	case c == farm.Cooling:
		return b.Survive.Low
	case c == farm.SiftReady, row.Side == farm.Above && x <= b.Thrive.High:
		return b.Thrive.High
	case row.Side == farm.Above:
		return b.Survive.High
	case row.Foreseen, x >= b.Thrive.Low: // drying out, or the time to sift is passing
		return b.Thrive.Low
	}
	return b.Survive.Low
}

// A curveKey names one curve of one length.
type curveKey struct {
	bin, zone string
	q         farm.Quantity
	step      time.Duration
}

// A curveCache keeps the samples behind the curves until their next step begins, so
// that a page of forty zones asks the journal for eighty curves once in half
// an hour and not at every look. What has happened since the last sample is
// the level's to show. Safe for concurrent use.
type curveCache struct {
	mu   sync.Mutex
	kept map[curveKey]keptCurve
}

type keptCurve struct {
	to      time.Time
	samples []farm.Sample // never changed once kept
}

// maxCurves bounds the cache; a farm of 200 zones fits.
const maxCurves = 2048

// samples gives the stretch of length back that ends with the step now is in.
func (c *curveCache) samples(ctx context.Context, h History, k curveKey, now time.Time, back time.Duration) ([]farm.Sample, error) {
	to := now.Truncate(k.step).Add(k.step)
	c.mu.Lock()
	got, ok := c.kept[k]
	c.mu.Unlock()
	if ok && got.to.Equal(to) {
		return got.samples, nil
	}
	samples, err := h.Samples(ctx, k.bin, k.zone, k.q, to.Add(-back), to, k.step)
	if err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.kept == nil || len(c.kept) >= maxCurves {
		c.kept = make(map[curveKey]keptCurve)
	}
	c.kept[k] = keptCurve{to, samples}
	return samples, nil
}

// A span is how long a picture looks back and ahead.
type span struct {
	key, name         string
	back, ahead, step time.Duration
	spread            bool
}

const day = 24 * time.Hour

var (
	// glance is the first page's: hours, which the journal has at hand.
	glance  = span{"", "", 2 * day, 12 * time.Hour, time.Hour, false}
	twoDays = span{"2d", "2 days", 2 * day, 12 * time.Hour, 30 * time.Minute, false}
	spans   = []span{
		twoDays,
		{"2w", "2 weeks", 14 * day, 3 * day, 2 * time.Hour, true},
		{"3mo", "3 months", 91 * day, 14 * day, 6 * time.Hour, true},
		{"1y", "a year", 365 * day, 30 * day, day, true},
	}
)

// spanOf finds the span an address asks for; two days where it asks for none.
func spanOf(key string) (span, error) {
	i := slices.IndexFunc(spans, func(s span) bool { return s.key == cmp.Or(key, twoDays.key) })
	if i < 0 {
		return span{}, badInput("There is no span %q; there are 2d, 2w, 3mo and 1y.", clip(key, 20))
	}
	return spans[i], nil
}

// A spanLink leads to one span.
type spanLink struct {
	Name, URL string
	Here      bool
}

// Spans lead to a page over each span.
func (v *visit) Spans(page string) (links []spanLink) {
	for _, s := range spans {
		links = append(links, spanLink{s.name, page + "?span=" + s.key, s.key == v.span.key})
	}
	return links
}
