package farm

import "time"

// Ahead is all that comes, by day: what the keeper will have to do, and what there
// will be of castings.
type Ahead struct {
	At       time.Time        `json:"at"`
	Farm     string           `json:"farm"`
	Until    time.Time        `json:"until"`
	If       string           `json:"if,omitempty"` // what was supposed
	Comes    []Coming         `json:"comes"`        // by day
	Needs    []NeedView       `json:"needs,omitempty"`
	Castings []CastingsPoint  `json:"castings,omitempty"` // the account, from now on
	Sources  []CastingsSource `json:"castings_from,omitempty"`
	Notes    []string         `json:"notes,omitempty"` // what the figures stand on, and what they leave out
}

// A Coming is one thing that comes on a day, or between two.
type Coming struct {
	ID    string     `json:"id"` // the same as long as it is the same thing
	Kind  ComingKind `json:"kind"`
	Bin   string     `json:"bin,omitempty"`
	Zone  string     `json:"zone,omitempty"`
	Probe string     `json:"probe,omitempty"`
	On    time.Time  `json:"on"`             // the farm's midnight at the start of the day
	First time.Time  `json:"first,omitzero"` // ends of an 80 % interval, likewise
	Last  time.Time  `json:"last,omitzero"`
	Brief string     `json:"brief"` // a few words: "Bed, near: water"
	Text  string     `json:"text"`  // a sentence, with amounts
}

// Says is the sentence with the interval of its day.
func (c Coming) Says(d Dates, now time.Time) string {
	if c.First.IsZero() || c.Last.IsZero() || !c.First.Before(c.Last) {
		return c.Text
	}
	return c.Text + " (" + d.Span(c.First, c.Last, now) + ")"
}

// ComingKind tells what comes.
type ComingKind string

const (
	ComesWater     ComingKind = "water"
	ComesFood      ComingKind = "food"
	ComesBedding   ComingKind = "bedding"
	ComesTurning   ComingKind = "turning"
	ComesSifting   ComingKind = "sifting"
	ComesHatching  ComingKind = "hatching"
	ComesBattery   ComingKind = "battery"
	ComesCalibrate ComingKind = "calibration"
	ComesSeason    ComingKind = "season" // a species leaves or reenters its band where it stands
	ComesNeed      ComingKind = "need"
)

// A CastingsPoint is how much there will be in tubs at a time, L, with the ends of an
// 80 % interval.
type CastingsPoint struct {
	At     time.Time `json:"at"`
	Litres float64   `json:"litres"`
	LowL   float64   `json:"low_litres"`
	HighL  float64   `json:"high_litres"`
}

// A CastingsSource is where castings are now, or will come from.
type CastingsSource struct {
	Bin    string  `json:"bin"`
	Zone   string  `json:"zone,omitempty"`
	Litres float64 `json:"litres"`
	LowL   float64 `json:"low_litres"`
	HighL  float64 `json:"high_litres"`
	Text   string  `json:"text"`
}
