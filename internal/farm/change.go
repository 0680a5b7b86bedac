package farm

import (
	"cmp"
	"slices"
	"time"
)

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
	Quantity  Quantity   `json:"quantity,omitempty"` // that is past its limit; "" where the condition says it
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
	Ended     Ended      `json:"ended,omitempty"` // eased: not because it got better in the bin
	Brief     string     `json:"brief,omitempty"` // a few words of text that fit after the place: "too hot at 33 °C"

	// RoundsUntil is given where it comes on its usual day: until then people are told of it
	// by the rounds alone.
	RoundsUntil *time.Time `json:"rounds_until,omitempty"`
}

// JudgedBy is the quantity that the condition is judged by; "" where that is the
// logbook, a probe or the machinery.
func (c Change) JudgedBy() Quantity { return cmp.Or(c.Quantity, c.Condition.Quantity()) }

// Is names the condition: "too hot", "CO2 past its limit".
func (c Change) Is() string { return c.Quantity.before(c.Condition.Row().Is) }

// Over names its end: "no longer too hot", "CO2 within its limits again".
func (c Change) Over() string { return c.Quantity.before(c.Condition.Row().Over) }

// before puts the quantity's noun before words about it.
func (q Quantity) before(words string) string {
	if q == "" {
		return words
	}
	return q.Row().Noun + " " + words
}

// Ended is how a condition ended though nothing got better in the bin: nobody is to
// be told that it did.
type Ended string

const (
	Unwatched Ended = "unwatched"    // nobody looks any more
	Relimited Ended = "other-limits" // the limits now in force see nothing wrong
	Came      Ended = "came"         // what was foreseen has come, and goes on as the condition that it becomes
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
	LitresLow   float64    `json:"litres_low,omitempty"`   // 80 % range of water_litres
	LitresHigh  float64    `json:"litres_high,omitempty"`
	VisitLitres float64    `json:"visit_litres,omitempty"` // to begin with: at most litres_low, but for what is lost until the next visit
	EveryDays   int        `json:"every_days,omitempty"`   // a visit is wanted so often; 0: the keeper's own pace does
	Visits      int        `json:"visits,omitempty"`       // of every_days; 0: for as long as it dries like this
	GivenLitres float64    `json:"given_litres,omitempty"` // given of late and taken off
	Wait        *time.Time `json:"wait_until,omitempty"`   // it was done: nothing is wanted before
	First       bool       `json:"first,omitempty"`        // something else comes first: what was asked for is not to be done now
	BeddingKg   float64    `json:"bedding_kg,omitempty"`   // dry bedding to mix in, plain estimate
	KgLow       float64    `json:"kg_low,omitempty"`       // 80 % range of bedding_kg; low is to begin with
	KgHigh      float64    `json:"kg_high,omitempty"`
	FeedKg      float64    `json:"feed_kg,omitempty"`
	FeedOf      string     `json:"feed_of,omitempty"`          // the usual food
	DryMassKg   float64    `json:"dry_mass_kg,omitempty"`      // what the doses stand on
	DryMassFrom string     `json:"dry_mass_from,omitempty"`    // told, learned or guess
	DryMassTold float64    `json:"dry_mass_told_kg,omitempty"` // what the keeper told, where waterings say otherwise
	Opens       *time.Time `json:"opens,omitempty"`            // sifting window
	Closes      *time.Time `json:"closes,omitempty"`
	SiftLitres  float64    `json:"sift_litres,omitempty"` // as the last sifting of the zone
	SiftTo      string     `json:"sift_to,omitempty"`     // the tub it went to, or the only one
	Hatchlings  float64    `json:"hatchlings,omitempty"`
	Do          string     `json:"do,omitempty"` // one sentence a person can act on
}

// Rounds is the list of what to do at each bin today, most urgent bin first.
type Rounds struct {
	At       time.Time  `json:"at"`
	Farm     string     `json:"farm"`
	Opening  string     `json:"opening"`            // one sentence on the whole farm; says so when there is nothing to do
	Causes   []Shared   `json:"causes,omitempty"`   // what several bins or probes suffer from together
	Care     []Care     `json:"care"`               // in the order in which one walks
	Well     []string   `json:"well,omitempty"`     // the bins where all is well, a line each
	Left     string     `json:"left,omitempty"`     // what was not done on the visit that is under way or just over
	Done     []string   `json:"done,omitempty"`     // raised, and seen to of late: a sentence each, with when to look again
	Bring    []string   `json:"bring,omitempty"`    // for the whole walk: "about 5 litres of water", "a mask"
	Seen     []string   `json:"seen,omitempty"`     // what the keeper saw of late and what follows, a sentence or two each
	Cautions []string   `json:"cautions,omitempty"` // those that apply to something on the list
	Unsure   []string   `json:"unsure,omitempty"`   // what keeps anybody from saying that all is well, a sentence each
	Probes   []string   `json:"probes,omitempty"`   // doubts, silences and batteries, a sentence each
	Hushed   []string   `json:"hushed,omitempty"`   // what is kept quiet and until when
	Quiet    []Care     `json:"-"`                  // the lines of those, for who does one all the same
	Needs    []NeedView `json:"needs,omitempty"`
	Changed  []string   `json:"changed,omitempty"` // what is otherwise since an update, as [View.Changed]
}

// DoAt says what to do at a line of the care: what one of the same cause asks for as soon
// is said there alone.
func (r *Rounds) DoAt(i int) string {
	c := &r.Care[i]
	for _, s := range r.Causes {
		of := func(o Care) bool { return slices.Contains(s.Episodes, o.Episode) }
		first := slices.IndexFunc(r.Care[:i], func(o Care) bool { return o.Do == c.Do && o.Urgency == c.Urgency && of(o) })
		if first >= 0 && of(*c) {
			return "As for " + Capital(r.Care[first].Bin) + "."
		}
	}
	return c.Do
}

// A Care line is one thing to do at one zone.
type Care struct {
	Bin       string     `json:"bin"`
	Zone      string     `json:"zone,omitempty"`
	Room      string     `json:"place,omitempty"` // that the bin stands in
	Condition Condition  `json:"condition,omitempty"`
	Quantity  Quantity   `json:"quantity,omitempty"` // as [Change.Quantity]
	Episode   string     `json:"id,omitempty"`       // of the raised condition behind it, for seen and hush
	Urgency   Urgency    `json:"urgency"`
	Do        string     `json:"do"`  // what to do, with its amount
	Why       string     `json:"why"` // one line
	Bring     []string   `json:"bring,omitempty"`
	Jot       *Jot       `json:"jot,omitempty"`  // the line to write when it is done; At is zero
	Over      *Jot       `json:"over,omitempty"` // the line that ends it where doing it once does not; At is zero
	Seen      bool       `json:"seen,omitempty"`
	Known     string     `json:"known,omitempty"` // as of a [Standing], like the next two
	KnownBy   string     `json:"known_by,omitempty"`
	Taken     *time.Time `json:"taken_until,omitempty"`
	Usual     bool       `json:"usual,omitempty"` // it is raised on its usual day, and told here alone
}

// A Sample is a stretch of a folded history: one quantity of one zone, or one
// probe, over Step from At.
type Sample struct {
	At   time.Time `json:"at"`
	Min  float64   `json:"min"`
	Mean float64   `json:"mean"`
	Max  float64   `json:"max"`
	N    int64     `json:"n"`
}

// Owed is a notice that one recipient is to get about one change. It is
// written in the transaction that writes the change, and settled when the
// recipient's server has accepted it.
type Owed struct {
	ID       int64     // place in the outbox
	Notice   string    // stable identity: the webhook's id, the core of the Message-ID
	Teller   string    // key of the recipient; never holds a secret
	ChangeID int64     // place of the change in the journal
	Change   Change    // what to tell
	Reminder bool      // of a change that was told already
	Created  time.Time // arrival time of the event that caused it
	Tries    int
	Next     time.Time // not before
	Trouble  string    // what the last attempt met, secrets left out
	Bundle   string    // id of what it was last handed over in and may have arrived with; "": none
}

// Fated is what became of some owed notices, by the ids of their rows.
type Fated struct {
	Fate Fate
	IDs  []int64
}

// Fate is what became of an owed notice.
type Fate string

const (
	Told    Fate = "told"    // accepted by the recipient's server
	Summed  Fate = "summed"  // told as a line of a summary
	Dropped Fate = "dropped" // not wanted: its raise was never told, or the recipient is gone
)
