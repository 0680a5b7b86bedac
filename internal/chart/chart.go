// Package chart draws one quantity of one zone over time: the curve with what
// it swung between, the bands that it is held to, what is foreseen, and what
// the keeper did.
//
// There is one model, [Chart], and two renderers of it: [Chart.SVG] for the
// page, a cut through the ground with the bands as layers, and [Chart.PNG] for
// mails. Both take the range of the axes, the ticks, the places of lines and
// the gaps in them from the model.
//
// It is pure: no clock, no I/O, no request. It knows nothing of farms beyond
// the nouns it draws, and never lets a name through unescaped.
//
// To read: chart.go is the model; axis.go what the axes reach over and where
// they are marked; line.go how samples become lines; svg.go and png.go the
// renderers; reach.go a second, small picture of what species bear.
package chart

import (
	"time"

	"binwatchd/internal/farm"
)

// A Chart is one quantity over time. Values are in the inner unit of the
// quantity. Nothing in it is changed or kept by a renderer.
type Chart struct {
	Title string       // on top of the PNG
	Label string       // accessible name of the SVG: what the picture says, in a sentence
	Unit  farm.Written // how people read the values

	// The PNG's size in points, of which each has two pixels; the height of the
	// SVG's ground in px. The SVG is as wide as the page lets it be.
	Width, Height int

	From, To time.Time // edges of the picture
	Now      time.Time // where the curve ends and the forecast begins
	Dates    farm.Dates

	Bands   farm.Bands // zero: none
	Whole   bool       // the upright axis takes in both bands, not only what is near the curve
	Step    time.Duration
	Samples []farm.Sample
	Spread  bool // draw what the samples swung between
	Cone    *Cone
	Marks   []Mark

	Level    float64 // at Now
	HasLevel bool
	Fresh    bool // false: Level is old and drawn hollow

	// What only the page draws.
	Room   []farm.Sample // to compare with: the air around the bin
	Spells []Spell
	Focus  bool // can be reached by keyboard, to read values
	Bare   bool // the ground and the curve alone, as an ornament beside words that say the same
}

// A Cone is a forecast: from the level now to one limit, with the ends of its
// interval. Latest is zero when there is no end in sight.
type Cone struct {
	Limit                     float64
	Crosses, Earliest, Latest time.Time
}

// A Mark is one thing that the keeper did.
type Mark struct {
	At    time.Time
	What  string // a word for the PNG; the SVG takes the symbol j-WHAT of the page's sprite
	Title string // in the SVG: what was done, in words
}

// A Spell is how long a condition stood.
type Spell struct {
	From, To time.Time
	Urgency  farm.Urgency
	Title    string
}
