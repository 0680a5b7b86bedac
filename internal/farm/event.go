package farm

import (
	"math"
	"time"
)

// EventKind tells events apart.
type EventKind uint8

const (
	EventReading EventKind = iota + 1
	EventJot
	EventHush
	EventSeen
	EventTick    // a fixed minute of arrival time has passed
	EventStart   // watching begins; the time before it was not watched
	EventLink    // the broker was reached or lost
	EventTrouble // the farm's own machinery: database refuses
	EventClock   // the clock was put right: times since From move by Shift
	EventCaught  // all that the broker had kept for us has been handed over
	EventWeather // the weather of the hours to come
	EventAlive   // a device says that it is there, or its last will that it is gone
	EventStrike  // a line of the logbook was wrong, and counts no more
	EventStock   // what a tub holds has changed; the rules know it already
)

// An Event is one thing that happened, in journal order. It carries its own
// time, so whatever is computed from events never needs a clock. Only the
// field that belongs to Kind is set.
type Event struct {
	Seq     int64     // place in the journal; 0 where there is no journal
	Arrived time.Time // when it reached us; never falls along the journal but by an EventClock
	Kind    EventKind
	Once    string // id of the form that it came by: what comes by it again is not taken; "": by none
	Since   int64  // of a jot ticked on a list: the journal's last place when the list was made; 0: on none

	Reading Reading
	Jot     Jot
	Hush    Hush
	Seen    Seen
	Strike  Strike
	Up      bool          // EventLink: the broker can be heard
	Backlog Backlog       // EventLink: what follows of what the broker kept
	Trouble Trouble       // EventTrouble
	Weather *Weather      // EventWeather; shared, never changed
	Alive   *Liveness     // EventAlive; likewise
	Stock   Stock         // EventStock
	Shift   time.Duration // EventClock
	From    time.Time     // EventClock: when the wrong time began, on the wrong clock

	// Elsewhere is where a reading of the journal was measured, in the names of now, when
	// its probe does not stand there now; nil: it does.
	Elsewhere *Place
}

// A Stock is what a zone that keeps castings holds, by what was told of it.
type Stock struct {
	Bin    string  `json:"bin"`
	Zone   string  `json:"zone"`
	Litres float64 `json:"litres"`
}

// Sign says of an event that a keeper makes who it is by.
func (e *Event) Sign(who string) {
	switch e.Kind {
	case EventJot:
		e.Jot.By = who
	case EventHush:
		e.Hush.By = who
	case EventSeen:
		e.Seen.By = who
	case EventStrike:
		e.Strike.By = who
	}
}

// Already is why what a keeper asks for is not written: it stands in the journal.
type Already struct {
	Event      // that stands there
	Own   bool // it came by the same form, sent twice; else somebody has done the same since the list was made
}

func (a *Already) Error() string { return "that is written already" }

// Backlog says what a broker that is reached hands over first.
type Backlog uint8

const (
	NoBacklog Backlog = iota // nothing: it has no session of ours
	Marked                   // what it kept; a marker of our own tells when that is through
	Unmarked                 // what it kept; it lets no marker through
)

// A Reading is one number from one probe, with what is known of its worth.
type Reading struct {
	Probe     string
	At        time.Time // the device's own time when believed, else the time of arrival
	Raw       float64   // as found in the payload
	Value     float64   // calibrated: °C, % wet basis, V; NaN when Raw means nothing
	Doubt     Doubt     // why it is not believed; 0 when it is
	Stamped   bool      // At comes from the device
	Misdated  bool      // the device sent a time that is not believed; At is the arrival
	Uncertain bool      // kept somewhere on its way, without a time stamp: At may be hours late
	Retained  bool      // the broker's stored value, heard at the start; never fresh
}

// Finite tells whether v is a number that a probe can mean, and that JSON, a
// metric and a database can carry: neither NaN nor infinite.
func Finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// Believed tells whether the reading may judge a bin.
func (r Reading) Believed() bool { return r.Doubt == NoDoubt }

// Flags say in words what is unsure of the reading's time.
func (r Reading) Flags() (all []string) {
	if r.Retained {
		all = append(all, "retained")
	}
	if r.Misdated {
		all = append(all, "misdated")
	}
	if r.Uncertain && !r.Retained {
		all = append(all, "time uncertain")
	}
	return all
}

// Doubt is why a reading is not believed. The numbers are kept on disk: add
// at the end, never reuse one.
type Doubt uint8

const (
	NoDoubt   Doubt = iota
	FaultCode       // a number by which probes report their own failure
	OutOfRange
	Spike      // far from its neighbours in time
	TooFast    // no bin changes so fast: lifted out, or knocked
	Frozen     // stands still, unlike itself
	TwinApart  // disagrees with another probe of the same zone
	NotANumber // NaN or infinite
	Unsteady   // its noise has grown
	Flooded    // water has got into it
	Swapped    // it has changed places with another probe
	Drifted    // it has gone off slowly from what is around it
)

var doubts = [...]string{
	NoDoubt:    "",
	FaultCode:  "fault code",
	OutOfRange: "out of range",
	Spike:      "a spike",
	TooFast:    "changed faster than a bin can, as if lifted out",
	Frozen:     "frozen: has not moved, unlike itself",
	TwinApart:  "disagrees with its twin",
	NotANumber: "not a number",
	Unsteady:   "jumps about far more than it used to",
	Flooded:    "wetter within hours than any bin gets, as if water had got into it",
	Swapped:    "reads what another one read, as if the two had changed places",
	Drifted:    "has gone off slowly from what is around it",
}

// OfLevel tells whether a doubt is of where a probe stands, not of single numbers:
// what it last said that was believed is no word of the bin either.
func (d Doubt) OfLevel() bool {
	switch d {
	case Frozen, TwinApart, Flooded, Swapped, Drifted:
		return true
	}
	return false
}

// String gives the doubt in words that fit after "not believed: ".
func (d Doubt) String() string {
	if int(d) < len(doubts) {
		return doubts[d]
	}
	return "unknown doubt" // of a later version
}

// A Hush keeps quiet about a bin, a zone, one condition or one quantity of it
// until a time.
type Hush struct {
	Bin       string    `json:"bin"`
	Zone      string    `json:"zone,omitempty"`
	Condition Condition `json:"condition,omitempty"` // "": all of them
	Quantity  Quantity  `json:"quantity,omitempty"`  // "": whatever its condition is raised of
	Until     time.Time `json:"until,omitzero"`
	By        string    `json:"by,omitempty"` // who, where that is known; else the way it came

	For time.Duration `json:"for_ns,omitempty"` // in place of Until: so long from when it is noted
}

// Covers tells whether a hush is meant for a condition of a place.
func (h Hush) Covers(bin, zone string, c Condition, q Quantity) bool {
	return h.Bin == bin && (h.Zone == "" || h.Zone == zone) && (h.Condition == "" || h.Condition == c) && (h.Quantity == "" || h.Quantity == q)
}

// Seen says that somebody knows of a raised condition, or takes it on.
type Seen struct {
	Episode string    `json:"episode"`
	By      string    `json:"by,omitempty"`   // who, where that is known; else the way it came
	Until   time.Time `json:"until,omitzero"` // looks after it until then; zero: knows of it
}

// A Strike takes a line of the logbook back. The line itself stays on disk.
type Strike struct {
	Line int64 // its [Jot.ID]
	Jot  Jot   // the line, where it is known
	By   string
	At   time.Time // when it was struck, where that is known
}

// Trouble is something wrong with the machinery around the journal.
type Trouble struct {
	Condition Condition `json:"condition"`
	Over      bool      `json:"over,omitempty"`
	Text      string    `json:"text"`
}

// A Liveness is the word on a topic by which devices say that they are there; a broker
// publishes there what they have left as their last will.
type Liveness struct {
	Topic string `json:"topic"`
	Gone  bool   `json:"gone,omitempty"`
	Says  string `json:"says"` // the word itself
}

// A Weather is what somebody foretells, for the rooms that hear its topic.
type Weather struct {
	Topic string        `json:"topic"`
	Hours []WeatherHour `json:"hours"` // by rising time
}

// A WeatherHour is how warm the air will be at a time.
type WeatherHour struct {
	At    time.Time `json:"at"`
	TempC float64   `json:"c"`
}

// A Stretch is a piece of the journal to pass on.
type Stretch struct {
	Events  []Event       // readings, jots and strikes in journal order
	Changes []Change      // those that the events of the stretch caused
	Alike   map[int64]int // how many jots of the same act, place and instant stand before one, by its Seq, or that of its strike; none: it is the first
	Last    int64         // the place after which the next stretch begins; at the journal's end the one asked from
}

// Parked is a row that a database refuses for good. The reading itself stays in the
// journal.
type Parked struct {
	ID     int64     // how many rows had been refused with it, once it is kept
	At     time.Time // of the refusal
	Line   string    // as it was sent; the first one, where it stands for many
	Reason string    // the database's words
	Rows   int       // how many it stands for: many only for rows in a row that are too old for the database; 0 is one
}
