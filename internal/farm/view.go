package farm

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"
)

// A View is how the farm stands at one moment: what the page, the metrics and
// the commands show. It is computed from the rules' state and shares nothing
// with it. Times are UTC; absent parts are left out of the JSON.
type View struct {
	Farm     string      `json:"farm"`
	Units    Units       `json:"units"`
	Timezone string      `json:"timezone"`
	At       time.Time   `json:"at"`
	Bins     []BinView   `json:"bins"` // without zones that are retired
	Retired  []Retired   `json:"retired,omitempty"`
	Probes   []ProbeView `json:"probes"`
	Standing []Standing  `json:"conditions"`       // raised now, most urgent first
	Causes   []Shared    `json:"causes,omitempty"` // of what is not hushed
	Hushes   []Hush      `json:"hushes,omitempty"`
	Intake   IntakeView  `json:"intake"`
	Passing  *PassingOn  `json:"passing_on,omitempty"` // nil: there is no database
	Needs    []NeedView  `json:"needs,omitempty"`
	// How each recipient could last be reached; nil where there is no daemon, and
	// where nobody is told.
	Recipients []Recipient `json:"recipients,omitempty"`
	Copies     *Copies     `json:"copies,omitempty"`  // of the journal; nil where none are made by themselves
	Changed    []string    `json:"changed,omitempty"` // what is otherwise since an update of the last days, a sentence each
}

// A BinView is one bin with its zones.
type BinView struct {
	Name  string     `json:"name"`
	Place string     `json:"place,omitempty"` // the [Room] that it stands in
	Zones []ZoneView `json:"zones"`
}

// A Shared cause is what several bins or probes suffer from together, in words.
type Shared struct {
	Urgency  Urgency  `json:"urgency"` // of what is most urgent of it
	Title    string   `json:"title"`   // "Linden: heating off?"
	Brief    string   `json:"brief,omitempty"`
	Do       string   `json:"do"`
	Caution  string   `json:"caution,omitempty"`
	Place    string   `json:"place,omitempty"` // the [Room] that it is in, where it is in one
	Episodes []string `json:"ids"`             // that it shows in, in the order in which to see to them
}

// Says is the cause in a line: "Linden: heating off? Air 4 °C; 7 bins in danger of cold."
func (c Shared) Says() string {
	said := c.Title
	if c.Brief != "" && !strings.HasSuffix(said, "?") {
		said += "."
	}
	return strings.TrimSpace(said+" "+c.Brief) + "."
}

// Within is what of a view is in one bin or room, or about the air there: its bins, what is raised in
// them, and what concerns the whole farm.
func (v View) Within(f *Farm, name string) View {
	is := func(bin string) bool { return bin != "" && (bin == name || f.RoomOf(bin) == name) }
	v = v.among(is, func(probe string) bool { return is(f.ZoneOf(probe).Bin) || f.AirOf(probe) == name })
	v.Needs = nil
	return v
}

// For is what of a view is on somebody's round: see [Farm.Minds]. What concerns the whole farm
// is on everybody's, and so is a probe that stands nowhere. A battery is where its first probe is.
func (v View) For(f *Farm, p Person) View {
	return v.among(func(bin string) bool { return f.Minds(p, bin) }, func(probe string) bool {
		if spec, ok := f.ProbeByID(probe); ok && len(spec.Of) > 0 {
			probe = spec.Of[0]
		}
		at, air := f.ZoneOf(probe), f.AirOf(probe)
		return at.Bin == "" && (air == "" || f.mindsRoom(p, air)) || at.Bin != "" && f.Minds(p, at.Bin)
	})
}

// among is what of a view is of some bins and probes, and what concerns the whole farm.
func (v View) among(is, of func(name string) bool) View {
	without := func(st Standing) bool {
		return st.Bin+st.Probe != "" && !(st.Bin != "" && is(st.Bin)) && !(st.Probe != "" && of(st.Probe))
	}
	v.Bins = slices.DeleteFunc(slices.Clone(v.Bins), func(b BinView) bool { return !is(b.Name) })
	v.Standing = slices.DeleteFunc(slices.Clone(v.Standing), without)
	v.Probes = slices.DeleteFunc(slices.Clone(v.Probes), func(p ProbeView) bool { return !of(p.ID) })
	v.Retired = slices.DeleteFunc(slices.Clone(v.Retired), func(r Retired) bool { return !is(r.Bin) })
	v.Causes = slices.DeleteFunc(slices.Clone(v.Causes), func(c Shared) bool {
		return !slices.ContainsFunc(v.Standing, func(st Standing) bool { return slices.Contains(c.Episodes, st.Episode) })
	})
	return v
}

// A Retired zone is out of use: its history is kept, and it is not judged.
type Retired struct {
	Bin   string    `json:"bin"`
	Zone  string    `json:"zone"`
	Since time.Time `json:"since"`
}

// A ZoneView is one zone: its levels, its worms and what is foreseen.
type ZoneView struct {
	Bin       string        `json:"bin"`
	Zone      string        `json:"zone"`
	Aim       Aim           `json:"aim"`
	Levels    Levels        `json:"-"`                  // in JSON by the name of the quantity, beside the others
	Unjudged  Reason        `json:"unjudged,omitempty"` // why nothing can be said of the zone; "" when something can
	Unknown   []Unknown     `json:"unknown,omitempty"`  // what its probes measure and nothing can be said of
	Waiting   []Waiting     `json:"waiting,omitempty"`  // limits that are past for less than its patience
	Species   []SpeciesView `json:"species,omitempty"`
	Outlook   []Outlook     `json:"outlook,omitempty"`
	Water     *Advice       `json:"water,omitempty"` // the dose that would bring it to the middle of thrive
	Seen      []SightView   `json:"seen,omitempty"`  // by the keeper, of late
	Food      []FoodView    `json:"food,omitempty"`
	StoredL   float64       `json:"stored_litres,omitempty"`   // castings in a keeping zone, as far as they were told of
	UnsiftedL float64       `json:"unsifted_litres,omitempty"` // that lie in a sifting zone before the screen
	LidOff    *time.Time    `json:"lid_off_until,omitempty"`   // judging holds still after a jot
	Rhythms   []Rhythm      `json:"rhythms,omitempty"`
	Visit     *Visit        `json:"visit,omitempty"` // nil: the bin was not seen to in the last hours
}

// A Visit is what the logbook says of a keeper's last hours at a bin.
type Visit struct {
	At  time.Time `json:"at"`            // of its first line
	Did []JotKind `json:"did,omitempty"` // in this zone, of what has a place in the rounds
}

// Levels are those of a zone by quantity; a quantity that nothing is known of is
// left out.
type Levels map[Quantity]*LevelView

// Zone finds how a zone stands.
func (v *View) Zone(bin, zone string) (z ZoneView, ok bool) {
	for _, b := range v.Bins {
		for _, z := range b.Zones {
			if z.Bin == bin && z.Zone == zone {
				return z, true
			}
		}
	}
	return ZoneView{}, false
}

// Level gives how a zone stands in a quantity; nil when nothing is known of it.
func (z *ZoneView) Level(q Quantity) *LevelView { return z.Levels[q] }

// zoneFields is a ZoneView without its own JSON form.
type zoneFields ZoneView

// MarshalJSON writes the levels, in the order of [Quantities], after the aim.
func (z ZoneView) MarshalJSON() ([]byte, error) {
	head, err := json.Marshal(zoneFields{Bin: z.Bin, Zone: z.Zone, Aim: z.Aim})
	if err != nil {
		return nil, err
	}
	all, err := json.Marshal(zoneFields(z))
	if err != nil {
		return nil, err
	}
	out := slices.Clone(head[:len(head)-1])
	for _, q := range QuantityNames() {
		level := z.Levels[q]
		if level == nil {
			continue
		}
		text, err := json.Marshal(level.rounded(q.Row()))
		if err != nil {
			return nil, fmt.Errorf("%s of %s/%s: %w", q, z.Bin, z.Zone, err)
		}
		out = fmt.Appendf(out, ",%q:%s", q, text)
	}
	return append(out, all[len(head)-1:]...), nil
}

// rounded is the level as programs read it.
func (l LevelView) rounded(row *QuantityRow) LevelView {
	l.Value = row.Rounded(l.Value)
	for _, end := range []**ProbeLevel{&l.Lowest, &l.Highest} {
		if *end != nil {
			*end = &ProbeLevel{Probe: (*end).Probe, Value: row.Rounded((*end).Value)}
		}
	}
	return l
}

// UnmarshalJSON reads what MarshalJSON writes.
func (z *ZoneView) UnmarshalJSON(b []byte) error {
	var named map[Quantity]json.RawMessage
	if err := json.Unmarshal(b, (*zoneFields)(z)); err != nil {
		return err
	}
	if err := json.Unmarshal(b, &named); err != nil {
		return err
	}
	z.Levels = Levels{}
	for _, q := range QuantityNames() {
		if text, ok := named[q]; ok {
			z.Levels[q] = new(LevelView)
			if err := json.Unmarshal(text, z.Levels[q]); err != nil {
				return fmt.Errorf("%s: %w", q, err)
			}
		}
	}
	return nil
}

// A LevelView is a zone's level of one quantity and the bands it is held to.
type LevelView struct {
	Value   float64   `json:"value"` // in the quantity's inner unit
	At      time.Time `json:"at"`    // newest believed reading behind it
	Fresh   bool      `json:"fresh"`
	Bands   Bands     `json:"bands,omitzero"`
	PerHour float64   `json:"per_hour,omitempty"` // slow trend; 0 when the data say nothing

	// Where several probes speak for the zone, Value is the middle of them and
	// these are the ends; else nil.
	Lowest  *ProbeLevel `json:"lowest,omitempty"`
	Highest *ProbeLevel `json:"highest,omitempty"`

	// Limits are all that the zone is held to, from low to high.
	Limits []Limit `json:"limits,omitempty"`
}

// Ends names the probes at both ends of a level, the highest first: "near 37.8
// °C, far 26 °C". It is "" where one probe speaks, and where they say the same.
func (l *LevelView) Ends(say func(float64) string) string {
	if l.Lowest == nil || l.Highest == nil {
		return ""
	}
	high, low := say(l.Highest.Value), say(l.Lowest.Value)
	if high == low {
		return ""
	}
	return fmt.Sprintf("%s %s, %s %s", l.Highest.Probe, high, l.Lowest.Probe, low)
}

// worst is the end of a level that is past its survive band; nil where none is.
func (l *LevelView) worst() *ProbeLevel {
	b := l.Bands.Survive
	switch {
	case l.Bands.IsZero() || l.Lowest == nil || l.Highest == nil:
		return nil
	case l.Highest.Value > b.High:
		return l.Highest
	case l.Lowest.Value < b.Low:
		return l.Lowest
	}
	return nil
}

// Worst is what a level comes to where it matters most: an end that is past its
// survive band, else the middle.
func (l *LevelView) Worst() float64 {
	if w := l.worst(); w != nil {
		return w.Value
	}
	return l.Value
}

// WorstProbe is the probe at the end that is past its survive band; "" where none
// is.
func (l *LevelView) WorstProbe() string {
	if w := l.worst(); w != nil {
		return w.Probe
	}
	return ""
}

// Named is the species and, of several in a bin, its part of the worms.
func (s SpeciesView) Named() string { return SayPart(s.Name, s.Part) }

// Says tells of a species how it does: "slowed", "thriving, too dry for them".
func (s SpeciesView) Says() string {
	said := string(s.Word)
	if s.Where != "" {
		said += " at " + s.Where
	}
	switch s.Moisture {
	case "":
		return said
	case s.Word:
		return said + " by heat or cold and by moisture"
	case InDanger:
		return said + ", in danger by moisture"
	}
	return said + ", " + string(s.Moisture) + " for them"
}

// A ProbeLevel is the level of one of a zone's probes.
type ProbeLevel struct {
	Probe string  `json:"probe"`
	Value float64 `json:"value"` // in the quantity's inner unit
}

// A Limit is one past which a band condition is raised.
type Limit struct {
	Condition Condition `json:"condition"`
	Urgency   Urgency   `json:"urgency"`
	At        float64   `json:"at"` // in the quantity's inner unit
}

// A SpeciesView says how one species in a zone does.
type SpeciesView struct {
	ID       string    `json:"id"`
	Name     string    `json:"name"`
	Part     float64   `json:"part"`               // of the bin's worms by mass, 0..1
	Word     Wellbeing `json:"word"`               // at this temperature: thriving, slowed, resting, in danger
	Moisture Wellbeing `json:"moisture,omitempty"` // at this moisture: too dry, too wet, in danger; "" where they thrive or it is not known
	Where    string    `json:"where,omitempty"`    // the probe at which it is in danger, where it is not so in the middle
	Activity float64   `json:"activity"`           // in the middle
}

// An Outlook is one forecast, raised or not.
type Outlook struct {
	Condition Condition `json:"condition"`
	Forecast  Forecast  `json:"forecast"`
	Text      string    `json:"text"`
}

// A SightView is something that the keeper saw in a zone, and what follows from it.
type SightView struct {
	What    JotKind      `json:"what"`
	At      time.Time    `json:"at"`
	Text    string       `json:"text"` // what was seen, what to do, what follows
	Do      string       `json:"do,omitempty"`
	Caution string       `json:"caution,omitempty"`
	Source  string       `json:"source,omitempty"` // of the advice
	Samples []FeelSample `json:"samples,omitempty"`
	HatchBy *time.Time   `json:"hatch_by,omitempty"` // cocoons
}

// A FeelSample is a rough point of calibration: what a probe said raw, and the moisture
// that the feel beside it stands for.
type FeelSample struct {
	Probe string  `json:"probe"`
	Raw   float64 `json:"raw"`
	Low   float64 `json:"low"` // % of fresh mass
	High  float64 `json:"high"`
}

// A FoodView is one feeding that is not eaten yet.
type FoodView struct {
	At       time.Time `json:"at"`
	Kg       float64   `json:"kg,omitempty"`
	Of       string    `json:"of,omitempty"`
	LeftPart float64   `json:"left_part"` // 0..1
}

// A Rhythm is what a keeper does at a zone again and again, and when it comes next.
type Rhythm struct {
	What      JotKind   `json:"what"`
	EveryDays float64   `json:"every_days"`
	WasDays   float64   `json:"was_days,omitempty"` // before it became another; 0: it has not
	Kg        float64   `json:"kg,omitempty"`       // as usual
	Litres    float64   `json:"litres,omitempty"`
	Of        string    `json:"of,omitempty"`
	Last      time.Time `json:"last"`
	Next      time.Time `json:"next"`
	Early     time.Time `json:"early"` // ends of an 80 % interval
	Late      time.Time `json:"late"`
	Text      string    `json:"text"` // "watered about 2 litres every 6 days; next about Tuesday, Monday to Thursday"
}

// A ProbeView is what is known of one probe.
type ProbeView struct {
	ID       string           `json:"id"`
	Measures Quantity         `json:"measures"`
	AirOf    string           `json:"air_of,omitempty"` // the room whose air it measures
	Raw      *float64         `json:"raw,omitempty"`
	Value    *float64         `json:"value,omitempty"`
	At       time.Time        `json:"at,omitzero"`      // of the newest reading
	Arrived  time.Time        `json:"arrived,omitzero"` // of the newest reading
	Fresh    bool             `json:"fresh"`
	Doubt    string           `json:"doubt,omitempty"`        // of the newest reading
	Flags    []string         `json:"flags,omitempty"`        // misdated, time uncertain, retained
	PaceS    float64          `json:"pace_seconds,omitempty"` // how often it speaks; 0 while that is not known
	Pace     string           `json:"pace,omitempty"`         // the same in words, where it is another than the keeper has said
	Counts   map[string]int64 `json:"counts,omitempty"`       // readings by outcome since the daemon began
	Rejected map[string]int64 `json:"rejected,omitempty"`     // messages by reason since the daemon began
}

// MarshalJSON writes the value no finer than a probe of its kind can resolve.
func (p ProbeView) MarshalJSON() ([]byte, error) {
	type fields ProbeView
	out := fields(p)
	if p.Value != nil {
		v := p.Measures.Row().Rounded(*p.Value)
		out.Value = &v
	}
	return json.Marshal(out)
}

// Outcomes of a reading, for ProbeView.Counts and the metrics.
const (
	OutcomeBelieved  = "believed"
	OutcomeDoubted   = "doubted"
	OutcomeUncertain = "time_uncertain"
	OutcomeLate      = "late"
	OutcomeRepeated  = "repeated"
)

// A Standing condition is raised and not yet eased.
type Standing struct {
	Episode   string     `json:"id"`
	Bin       string     `json:"bin,omitempty"`
	Zone      string     `json:"zone,omitempty"`
	Probe     string     `json:"probe,omitempty"`
	Condition Condition  `json:"condition"`
	Quantity  Quantity   `json:"quantity,omitempty"` // that is past its limit; "" where the condition says it
	Urgency   Urgency    `json:"urgency"`
	Since     time.Time  `json:"since"`
	Text      string     `json:"text"`
	Forecast  *Forecast  `json:"forecast,omitempty"`
	Advice    *Advice    `json:"advice,omitempty"`
	Cautions  []string   `json:"cautions,omitempty"`
	Hushed    *time.Time `json:"hushed_until,omitempty"`
	Seen      bool       `json:"seen,omitempty"`
	Known     string     `json:"known,omitempty"`    // a sentence on who knows of it or looks after it; "" where nobody is known to
	KnownBy   string     `json:"known_by,omitempty"` // who that is
	KnownAt   *time.Time `json:"known_at,omitempty"`
	Taken     *time.Time `json:"taken_until,omitempty"` // it was taken on until then, which may be over
	Brief     string     `json:"brief,omitempty"`       // as of a [Change]

	RoundsUntil *time.Time `json:"rounds_until,omitempty"` // likewise
}

// JudgedBy is the quantity that the condition is judged by; "" where that is the
// logbook, a probe or the machinery.
func (s Standing) JudgedBy() Quantity { return cmp.Or(s.Quantity, s.Condition.Quantity()) }

// InHands tells whether somebody looks after it at a time.
func (s Standing) InHands(at time.Time) bool { return s.Seen && s.Taken != nil && s.Taken.After(at) }

// Back tells whether somebody looked after it for as long as was said, and it goes on.
func (s Standing) Back(at time.Time) bool {
	return !s.Seen && s.Taken != nil && !s.Taken.After(at) && s.Hushed == nil
}

// Is names the condition: "too hot", "CO2 past its limit".
func (s Standing) Is() string { return s.Quantity.before(s.Condition.Row().Is) }

// An IntakeView is how readings reach us.
type IntakeView struct {
	Running   bool             `json:"running"` // false when read from the journal of a daemon that is not running
	Connected bool             `json:"connected"`
	Since     time.Time        `json:"since,omitzero"`
	Messages  map[string]int64 `json:"messages,omitempty"` // by outcome since the daemon began
	Delays    Delays           `json:"-"`
	Unwritten *time.Time       `json:"unwritten_since,omitempty"`
	Why       string           `json:"unwritten_why,omitempty"` // the journal can't be written
}

// Delays tell how long stamped readings took from their probes to us, since the
// daemon began.
type Delays struct {
	Count, SumMs int64
	Within       [len(DelaySteps)]int64 // how many took at most a step
}

// DelaySteps are from a probe that is heard at once to one that was out of reach for
// a week.
var DelaySteps = [...]time.Duration{
	time.Second, 10 * time.Second, time.Minute, 10 * time.Minute, time.Hour, 6 * time.Hour, 24 * time.Hour, 7 * 24 * time.Hour,
}

// Add counts one more.
func (d *Delays) Add(took time.Duration) {
	took = max(0, took) // a device's clock may be ahead
	d.Count++
	d.SumMs += took.Milliseconds()
	for i, step := range DelaySteps {
		if took <= step {
			d.Within[i]++
		}
	}
}

// A Recipient is how somebody who is told of conditions could last be reached.
type Recipient struct {
	By      string    `json:"by"`                // mail, push, webhook, rounds
	Place   int       `json:"place"`             // among those of its kind in the configuration, from 1
	Address string    `json:"address,omitempty"` // of a mail; what else there is may be a secret
	Trouble string    `json:"trouble,omitempty"` // of the last attempt; "" when it went well
	Since   time.Time `json:"since,omitzero"`    // of the trouble
	Last    time.Time `json:"last,omitzero"`     // the last notice that was accepted since the daemon began
}

// Name tells recipients apart by their place in the configuration: "push 2".
func (r Recipient) Name() string { return fmt.Sprintf("%s %d", r.By, r.Place) }

// Unreached says, a sentence each, which recipients can't be told anything at
// present, and why.
func (v *View) Unreached(dates Dates) []string {
	var out []string
	for _, r := range v.Recipients {
		if r.Trouble == "" {
			continue
		}
		name := r.Name()
		if r.Address != "" {
			name += " (" + r.Address + ")"
		}
		out = append(out, fmt.Sprintf("Notices by %s have not arrived since %s: %s.", name, dates.Time(r.Since, v.At), strings.TrimSuffix(r.Trouble, ".")))
	}
	return out
}

// ChangedTitle stands over [View.Changed] wherever that is shown.
const ChangedTitle = "New since the last update of binwatchd"

// Copies is how the copying of the journal stands.
type Copies struct {
	Last    time.Time `json:"last,omitzero"`     // of the newest that was found good; zero: none is known of
	Kept    int       `json:"kept,omitempty"`    // how many there are, when they were last counted
	Trouble string    `json:"trouble,omitempty"` // why none can be made now
}

// Copied says in a sentence how the copying of the journal stands; "" where none are
// made.
func (v *View) Copied() string {
	switch c := v.Copies; {
	case c == nil:
		return ""
	case c.Trouble != "" && c.Last.IsZero():
		return "The journal is not copied: " + c.Trouble + "."
	case c.Trouble != "":
		return "The journal is not copied: " + c.Trouble + ". Last copy " + SayLong(v.At.Sub(c.Last)) + " ago."
	case c.Last.IsZero():
		return "The journal has not been copied yet."
	default:
		return "Last copy of the journal " + SayLong(v.At.Sub(c.Last)) + " ago, checked."
	}
}

// PassingOn is how the copying to a database stands.
type PassingOn struct {
	Trouble  string    `json:"trouble,omitempty"`         // why nothing moves now; "" when it does, and without a daemon
	Refusals int64     `json:"refusals,omitempty"`        // rows that the database refused for good, of all times
	Newest   []Refusal `json:"newest_refusals,omitempty"` // newest first
}

// A Refusal is of a row that a database refused for good, or of several in a row
// that are too old for it.
type Refusal struct {
	At     time.Time `json:"at"`
	Reason string    `json:"reason"` // in the database's words
	Line   string    `json:"line"`   // the first row, as it was sent
}

// A NeedView is castings wanted by a day against what there will be.
type NeedView struct {
	WantedL   float64   `json:"wanted_litres"`
	By        time.Time `json:"by"`
	For       string    `json:"for,omitempty"` // in the keeper's words
	StoredL   float64   `json:"stored_litres"`
	ExpectedL float64   `json:"expected_litres"` // in tubs by that day
	LowL      float64   `json:"low_litres"`      // ends of an 80 % interval of it
	HighL     float64   `json:"high_litres"`
	Text      string    `json:"text"`
}

// An Unknown is a quantity that a zone's probes measure and of which nothing
// is believed at present.
type Unknown struct {
	Quantity Quantity `json:"quantity"`
	Why      Reason   `json:"why"`
}

// A Reason is why nothing can be said of a zone, or of one quantity of it, in
// words that fit after "can't be judged: ".
type Reason string

const (
	NoProbe      Reason = "no probe sits in it"
	NeverHeard   Reason = "no reading has come yet"
	NotFresh     Reason = "no fresh reading"
	NoneBelieved Reason = "no reading is believed"
)

// A Waiting is a limit that is past, and nothing raised yet: patience, or
// margin and patience of an easing, still run.
type Waiting struct {
	Condition Condition `json:"condition"`
	Quantity  Quantity  `json:"quantity,omitempty"` // that is past its limit; "" where the condition says it
	Urgency   Urgency   `json:"urgency"`            // with which it will be raised
	Since     time.Time `json:"since"`              // when the limit was passed
	RaisedAt  time.Time `json:"raised_at"`          // if it stays so
	Settles   bool      `json:"settles,omitempty"`  // the probe settles after work there, and the level climbs; RaisedAt is at the latest
}

// Unsure says, a sentence each, what keeps anybody from saying that all is
// well: readings that don't come in, zones that can't be judged, and limits
// that are past for less than a zone's patience. It is empty when everything
// that is watched is known.
func (v *View) Unsure(dates Dates) []string {
	out := v.intakeUnsure(dates)
	if zones := v.zones(); zones > fewZones && v.NothingHeard() {
		return append(out, fmt.Sprintf("None of the %d zones can be judged: no reading has come yet.", zones))
	}
	for _, b := range v.Bins {
		for _, z := range b.Zones {
			for _, said := range z.Unsure(v.At, dates) {
				out = append(out, SayPlace(z.Bin, z.Zone, len(b.Zones) == 1)+" "+said+".")
			}
		}
	}
	return out
}

func (v *View) intakeUnsure(dates Dates) []string {
	switch in := v.Intake; {
	case in.Unwritten != nil:
		return []string{fmt.Sprintf("Nothing is judged since %s: the journal can't be written.", dates.Time(*in.Unwritten, v.At))}
	case !in.Running:
		return []string{"No daemon is running: this is what the journal says."}
	case !in.Connected && in.Since.IsZero():
		return []string{"The broker has not been heard yet."}
	case !in.Connected:
		return []string{fmt.Sprintf("The broker has not been heard since %s.", dates.Time(in.Since, v.At))}
	}
	return nil
}

// fewZones is how many are named one by one while nothing is known of any.
const fewZones = 6

// NothingHeard tells whether no zone has had a reading yet.
func (v *View) NothingHeard() bool {
	for _, b := range v.Bins {
		for _, z := range b.Zones {
			if len(z.Levels) > 0 {
				return false
			}
		}
	}
	return true
}

func (v *View) zones() int {
	n := 0
	for _, b := range v.Bins {
		n += len(b.Zones)
	}
	return n
}

// Unsure says, each in words that fit after the zone's name, what can't be said
// of a zone at present.
func (z *ZoneView) Unsure(now time.Time, dates Dates) []string {
	var out []string
	if z.Unjudged != "" {
		out = append(out, "can't be judged: "+string(z.Unjudged))
	} else {
		for _, u := range z.Unknown {
			out = append(out, fmt.Sprintf("can't be judged by its %s: %s", u.Quantity.Row().Noun, u.Why))
		}
	}
	if z.LidOff != nil && z.LidOff.After(now) {
		return append(out, fmt.Sprintf("was opened and is judged again from %s on", z.LidOff.In(dates.Location).Format("15:04")))
	}
	for _, w := range z.Waiting {
		if w.Settles {
			out = append(out, fmt.Sprintf("reads %s while its probe settles after the work there; it is judged by that %s at the latest",
				w.Condition.Row().Is, dates.Time(w.RaisedAt, now)))
			continue
		}
		out = append(out, fmt.Sprintf("%s for %s; it is raised at %s if it stays so", w.says(), SayLong(now.Sub(w.Since)), w.RaisedAt.In(dates.Location).Format("15:04")))
	}
	return out
}

// says fits after the zone's name: "has been too dry", "has had its CO2 past its limit".
func (w Waiting) says() string {
	if w.Quantity != "" {
		return "has had its " + w.Quantity.before(w.Condition.Row().Is)
	}
	return "has been " + w.Condition.Row().Is
}
