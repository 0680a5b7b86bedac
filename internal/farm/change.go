package farm

import "time"

// Condition is something wrong or due.
type Condition string

const (
	TooHot      Condition = "too-hot"
	TooCold     Condition = "too-cold"
	TooDry      Condition = "too-dry"
	TooWet      Condition = "too-wet"
	Heating     Condition = "heating"
	Drying      Condition = "drying"
	SiftReady   Condition = "sift-ready"
	SiftPassing Condition = "sift-passing"
	FeedDue     Condition = "feed-due"
	Hatching    Condition = "hatching"
	Silent      Condition = "silent"
	Suspect     Condition = "suspect"
	BatteryLow  Condition = "battery-low"
	Unwritten   Condition = "unwritten"
	Unforwarded Condition = "unforwarded"
)

// Conditions lists every condition in the order of the documentation.
var Conditions = []Condition{
	TooHot, TooCold, TooDry, TooWet, Heating, Drying, SiftReady, SiftPassing,
	FeedDue, Hatching, Silent, Suspect, BatteryLow, Unwritten, Unforwarded,
}

// Quantity is what a condition of a zone is judged by; "" where that is the
// logbook, a probe or the machinery.
func (c Condition) Quantity() Quantity {
	switch c {
	case TooHot, TooCold, Heating:
		return Temperature
	case TooDry, TooWet, Drying, SiftReady, SiftPassing:
		return Moisture
	}
	return ""
}

// Urgency is how soon a condition wants a hand. Greater is more urgent.
type Urgency uint8

const (
	Calm Urgency = iota // nothing is raised
	Soon
	Today
	Now
)

// String gives the word of the urgency; Calm is "".
func (u Urgency) String() string {
	return [...]string{"", "soon", "today", "now"}[u]
}

// MarshalText writes the word of the urgency.
func (u Urgency) MarshalText() ([]byte, error) { return []byte(u.String()), nil }

// UnmarshalText reads the word of an urgency.
func (u *Urgency) UnmarshalText(b []byte) error {
	v, ok := ParseUrgency(string(b))
	if !ok && len(b) > 0 {
		return &WordError{What: "urgency", Word: string(b)}
	}
	*u = v
	return nil
}

// ParseUrgency reads one of now, today, soon.
func ParseUrgency(s string) (Urgency, bool) {
	for u := Soon; u <= Now; u++ {
		if u.String() == s {
			return u, true
		}
	}
	return Calm, false
}

// A WordError tells of a word that is not one of a fixed set.
type WordError struct{ What, Word string }

func (e *WordError) Error() string { return "not a known " + e.What + ": " + e.Word }

// ChangeKind is what happened to a condition.
type ChangeKind string

const (
	Raised    ChangeKind = "raised"
	Worsened  ChangeKind = "worsened"
	Lightened ChangeKind = "lightened"
	Eased     ChangeKind = "eased"
)

// A Change is one step in the life of a condition: the only thing the rules
// say to the outside. Its JSON form is what rehearse prints and a webhook
// carries.
type Change struct {
	At        time.Time  `json:"at"`
	Bin       string     `json:"bin,omitempty"`
	Zone      string     `json:"zone,omitempty"`
	Probe     string     `json:"probe,omitempty"`
	Condition Condition  `json:"condition"`
	Change    ChangeKind `json:"change"`
	Urgency   Urgency    `json:"urgency,omitempty"` // now in force; for eased, the one it had
	Text      string     `json:"text"`
	Forecast  *Forecast  `json:"forecast,omitempty"`
	Advice    *Advice    `json:"advice,omitempty"`
	Cautions  []string   `json:"cautions,omitempty"`
	Episode   string     `json:"episode"`         // the same for all changes of one episode
	Again     bool       `json:"again,omitempty"` // raised anew within a day: the same episode goes on
	Since     time.Time  `json:"since,omitzero"`  // when the episode began
	Peak      *float64   `json:"peak,omitempty"`  // eased: the worst level it reached, °C or %
	Ended     Ended      `json:"ended,omitempty"` // eased: by another configuration, not in the bin
}

// Ended is how a changed configuration ended a condition: nothing got better
// in the bin, and nobody is to be told that it did.
type Ended string

const (
	Unwatched Ended = "unwatched"    // nobody looks any more
	Relimited Ended = "other-limits" // the limits now in force see nothing wrong
)

// A Forecast is when a limit will be crossed, with the ends of an 80 %
// interval. Latest is zero when the interval has no end in sight.
type Forecast struct {
	Crosses  time.Time `json:"crosses,omitzero"`
	Earliest time.Time `json:"earliest,omitzero"`
	Latest   time.Time `json:"latest,omitzero"`
	Limit    float64   `json:"limit,omitempty"` // that is crossed, °C or % wet basis; 0 where the condition says it all
}

// Advice is what to do, in amounts. Parts that do not apply are zero.
type Advice struct {
	WaterLitres float64    `json:"water_litres,omitempty"` // plain estimate to the middle of thrive
	VisitLitres float64    `json:"visit_litres,omitempty"` // careful amount for one visit
	EveryDays   int        `json:"every_days,omitempty"`   // a visit is wanted so often; 0: the keeper's own pace does
	Visits      int        `json:"visits,omitempty"`       // of every_days; 0: for as long as it dries like this
	GivenLitres float64    `json:"given_litres,omitempty"` // given of late and taken off
	Wait        *time.Time `json:"wait_until,omitempty"`   // it was done: nothing is wanted before
	First       bool       `json:"first,omitempty"`        // something else comes first: what was asked for is not to be done now
	BeddingKg   float64    `json:"bedding_kg,omitempty"`   // dry bedding to mix in
	FeedKg      float64    `json:"feed_kg,omitempty"`
	FeedOf      string     `json:"feed_of,omitempty"`       // the usual food
	DryMassKg   float64    `json:"dry_mass_kg,omitempty"`   // what the doses stand on
	DryMassFrom string     `json:"dry_mass_from,omitempty"` // told, learned or guess
	Opens       *time.Time `json:"opens,omitempty"`         // sifting window
	Closes      *time.Time `json:"closes,omitempty"`
	SiftLitres  float64    `json:"sift_litres,omitempty"` // as the last sifting of the zone
	SiftTo      string     `json:"sift_to,omitempty"`     // the tub it went to, or the only one
	Hatchlings  float64    `json:"hatchlings,omitempty"`
	Do          string     `json:"do,omitempty"` // one sentence a person can act on
}
