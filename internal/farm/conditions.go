package farm

import (
	"fmt"
	"slices"
)

// Condition is something wrong or due: the name of a row of [ConditionTable].
type Condition string

const (
	TooHot      Condition = "too-hot"
	TooCold     Condition = "too-cold"
	TooDry      Condition = "too-dry"
	TooWet      Condition = "too-wet"
	Heating     Condition = "heating"
	Cooling     Condition = "cooling"
	Warming     Condition = "warming"
	Drying      Condition = "drying"
	SiftReady   Condition = "sift-ready"
	SiftPassing Condition = "sift-passing"
	PastLimit   Condition = "past-limit"
	FeedDue     Condition = "feed-due"
	Hatching    Condition = "hatching"
	Silent      Condition = "silent"
	Suspect     Condition = "suspect"
	BatteryLow  Condition = "battery-low"
	Unwritten   Condition = "unwritten"
	Unforwarded Condition = "unforwarded"
	Uncopied    Condition = "uncopied"
)

// About is what a condition is a condition of.
type About uint8

const (
	AboutZone      About = iota // a zone of a bin
	AboutProbe                  // a probe or a battery
	AboutMachinery              // the program's own: journal, database
)

// Side is on which side of a level's limits a condition lies.
type Side int8

const (
	NoSide Side = 0
	Below  Side = -1
	Above  Side = 1
)

// A ConditionRow is what is the same whenever a condition is raised; what
// varies with the level is said by package rules.
type ConditionRow struct {
	Name     Condition
	About    About
	Quantity Quantity  // it is judged by; "" where that is the logbook, a probe or the machinery
	Side     Side      // of that quantity's limits
	Band     bool      // raised where a level is past a limit, by patience and margin
	Foreseen bool      // raised before anything is wrong, by a forecast
	Becomes  Condition // that it goes over into once it has come: then it ends, and only that is told
	Aims     []Aim     // of the zones in which it can arise; nil: all
	Urgency  Urgency   // that it is raised with; Calm where the level decides

	Is    string // after "Bed, near: ", and as its short name: "too hot"
	Was   string // after "Bed, near was ": "too hot"
	Found string // after "is not ... by the limits now in force": "foreseen to be too hot"
	Over  string // once it has eased: "no longer too hot"
	Do    string // where the advice says nothing; common practice, no source
}

// ConditionTable is every condition in the order of the documentation and of all
// lists.
var ConditionTable = []ConditionRow{
	{
		Name: TooHot, Quantity: Temperature, Side: Above, Band: true,
		Is: "too hot", Was: "too hot", Found: "too hot", Over: "no longer too hot",
		Do: "Shade it, open it and move it somewhere cooler.",
	},
	{
		Name: TooCold, Quantity: Temperature, Side: Below, Band: true,
		Is: "too cold", Was: "too cold", Found: "too cold", Over: "no longer too cold",
		Do: "Cover it or move it somewhere warmer.",
	},
	{
		Name: TooDry, Quantity: Moisture, Side: Below, Band: true,
		Is: "too dry", Was: "too dry", Found: "too dry", Over: "moist again",
		Do: "Water it a little.",
	},
	{
		Name: TooWet, Quantity: Moisture, Side: Above, Band: true, Aims: []Aim{Living, Keeping},
		Is: "too wet", Was: "too wet", Found: "too wet", Over: "no longer too wet",
		Do: "Mix in dry bedding and let it drain.",
	},
	{
		Name: Heating, Quantity: Temperature, Side: Above, Foreseen: true, Aims: []Aim{Living},
		Is: "heating up", Was: "heating by itself", Found: "foreseen to be too hot", Over: "no longer heating",
		Do: "Fork the fresh feed apart, spread it thin and leave the lid off.",
	},
	{
		Name: Cooling, Quantity: Temperature, Side: Below, Foreseen: true, Aims: []Aim{Living, Keeping},
		Is: "cooling down", Was: "cooling", Found: "foreseen to be too cold", Over: "no longer cooling",
		Do: "Cover it or bring it in.",
	},
	{
		Name: Warming, Quantity: Temperature, Side: Above, Foreseen: true, Aims: []Aim{Living, Keeping},
		Is: "warming up", Was: "warmed by its room", Found: "foreseen to be too hot", Over: "no longer warming",
		Do: "Shade it, air it or move it somewhere cooler.",
	},
	{
		Name: Drying, Quantity: Moisture, Side: Below, Foreseen: true, Becomes: TooDry, Aims: []Aim{Living, Keeping}, Urgency: Soon,
		Is: "drying out", Was: "drying", Found: "foreseen to be too dry", Over: "no longer drying",
		Do: "Water it on the next round.",
	},
	{
		Name: SiftReady, Quantity: Moisture, Side: Below, Foreseen: true, Aims: []Aim{Sifting}, Urgency: Today,
		Is: "ready to sift", Was: "ready to sift", Found: "ready to sift", Over: "the time to sift is over",
		Do: "Sift it while it is neither wet nor dusty.",
	},
	{
		Name: SiftPassing, Quantity: Moisture, Side: Below, Foreseen: true, Aims: []Aim{Sifting}, Urgency: Today,
		Is: "the time to sift is passing", Was: "near the end of its time to sift", Found: "near the end of its time to sift",
		Over: "the time to sift is over",
		Do:   "Sift it today, or dampen it and let it come back.",
	},
	{
		Name: PastLimit, Band: true, Urgency: Today, // of each quantity that has limits, on both sides
		Is: "past its limit", Was: "past its limit", Found: "past its limit", Over: "within its limits again",
		Do: "See why, and whether the probe is right.",
	},
	{
		Name: FeedDue, Foreseen: true, Aims: []Aim{Living}, Urgency: Soon,
		Is: "feed due", Was: "due for feed", Over: "fed",
		Do: "Feed it.",
	},
	{
		Name: Hatching, Foreseen: true, Aims: []Aim{Keeping}, Urgency: Soon,
		Is: "cocoons hatching", Was: "due to hatch", Over: "no more cocoons due",
		Do: "Feed a little and lift the adults out.",
	},
	{
		Name: Silent, About: AboutProbe, Urgency: Today,
		Is: "silent", Was: "silent", Over: "speaks again",
		Do: "Look at the probe, its battery and its radio.",
	},
	{
		Name: Suspect, About: AboutProbe,
		Is: "not believed", Was: "not believed", Over: "believed again",
		Do: "Look at the probe and its cable.",
	},
	{
		Name: BatteryLow, About: AboutProbe, Urgency: Soon,
		Is: "battery low", Was: "low", Over: "battery well again",
		Do: "Bring a fresh battery.",
	},
	{
		Name: Unwritten, About: AboutMachinery, Urgency: Now,
		Is: "the journal cannot be written", Over: "the journal is written again",
		Do: "Look at the disk: it may be full or worn out. Readings wait at the broker meanwhile.",
	},
	{
		Name: Unforwarded, About: AboutMachinery, Urgency: Soon,
		Is: "the database does not take readings", Over: "the database takes readings again",
		Do: "Look at the database. Nothing is lost: readings wait in the journal.",
	},
	{
		Name: Uncopied, About: AboutMachinery, Urgency: Soon,
		Is: "the journal is not copied", Over: "the journal is copied again",
		Do: "See to the stick or folder that the copies go to.",
	},
}

// Conditions lists the name of every condition, in the order of the table.
var Conditions = func() (names []Condition) {
	for _, row := range ConditionTable {
		names = append(names, row.Name)
	}
	return names
}()

// Row gives the row of a condition; of one that is in no row, as in a journal
// of a later version, only its name is known. Never nil.
func (c Condition) Row() *ConditionRow {
	if i := slices.Index(Conditions, c); i >= 0 {
		return &ConditionTable[i]
	}
	return &ConditionRow{Name: c, Is: string(c), Was: string(c), Found: string(c), Over: "over"}
}

// Quantity is what a condition is judged by; "" where that is the logbook, a
// probe or the machinery.
func (c Condition) Quantity() Quantity { return c.Row().Quantity }

// LimitConditions gives the conditions that are raised where a level is past the
// limits of a quantity.
func LimitConditions(q Quantity) (below, above Condition) {
	below, above = PastLimit, PastLimit
	for _, row := range ConditionTable {
		switch {
		case !row.Band || row.Quantity != q:
		case row.Side == Below:
			below = row.Name
		case row.Side == Above:
			above = row.Name
		}
	}
	return below, above
}

// Arises tells whether a condition can be one of a zone with that aim.
func (c Condition) Arises(aim Aim) bool {
	aims := c.Row().Aims
	return aims == nil || slices.Contains(aims, aim)
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
		return fmt.Errorf("not a known urgency: %s", b)
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
