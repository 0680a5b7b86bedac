// Package survey looks at what a broker carries and proposes probes for it: it
// is told of messages, finds the numbers in them, puts topics together that look
// alike, and guesses what each number measures from its name, its values and
// its pace. Every guess is written down as one, for a keeper to check.
//
// It is a pure function of the messages told: no clock, no connection, no
// file, and the same messages in any order of topics give the same proposal.
// Payloads are taken apart by package ingest, so that what is proposed here is
// what a decoder will read. The command listen is its caller.
//
// Read survey.go for what is remembered, propose.go for the way to a proposal,
// group.go for look-alike topics and their names, described.go for what other topics say
// of a value, hand.go for which probe moves when it is taken into a hand, meaning.go for what names say by the words of vocabulary.txt, units.go for what numbers say, and yaml.go for
// the text.
package survey

import (
	"cmp"
	"math"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// Bounds on what is remembered: topics come from outside, and a broker may
// carry the whole house.
const (
	maxTopics = 4000
	maxValues = 64 // of one topic
	maxTimes  = 64 // arrivals and time stamps of one topic
)

// A Survey collects what is heard. It is for one goroutine.
type Survey struct {
	zone     *time.Location // of clocks that say none
	topics   map[string]*topic
	messages int
	beyond   int // messages of topics, and values, there was no room for

	knows func(topic, value string) bool // what a configuration has; nil: nothing
	taken []string                       // names that it has
	apart bool                           // no topics are put together

	lives []string // last levels of topics that say whether a device is there
}

// New makes an empty survey. The zone is that of clocks that say none.
func New(zone *time.Location) *Survey { return &Survey{zone: zone, topics: map[string]*topic{}} }

// Beside has what a configuration knows left out of proposals, and its names of probes left
// to it.
func (s *Survey) Beside(knows func(topic, value string) bool, names []string) {
	s.knows, s.taken = knows, names
}

// A topic is what is remembered of one topic.
type topic struct {
	name               string
	skeleton           string   // of its name, which look-alike topics share
	pieces             []string // of its name, that the skeleton lacks
	messages, retained int
	shape              string            // of what is neither a number nor JSON
	times              []time.Time       // of arrival, without what was retained
	values             map[string]*value // by JSON Pointer
}

// A value is what one value of a topic's payloads was heard to be.
type value struct {
	text      string    // the newest, as it stood there
	unit      farm.Unit // behind the number; "" for none
	changed   bool      // the text was another before
	sound     int       // numbers that are no fault codes
	low, high float64   // of those
	fraction  bool      // one of those had one
	faults    int       // fault codes, NaN and the like
	powerOns  int       // numbers that are a fault code of a DS18B20 and of nothing else
	stamps    []time.Time
	misdated  int           // time stamps that a decoder would not believe
	lag       time.Duration // least time from a stamp to its arrival

	now, held, far float64 // the newest sound number that came live; what it was at Hold; the furthest from that since; NaN: none
}

func newValue() *value {
	none := math.NaN()
	return &value{now: none, held: none, far: none, low: math.Inf(1), high: math.Inf(-1), lag: math.MaxInt64}
}

// wrongZone is from what lag on a clock is rather one of another zone than slow to be heard.
// Zones lie whole half hours apart, and nothing else keeps several messages that long.
const wrongZone = 25 * time.Minute

// late tells whether the clock of every message was behind by hours.
func (v *value) late() bool { return len(v.stamps) > 1 && v.lag > wrongZone }

// isNumber tells whether any number was heard, be it a fault code.
func (v *value) isNumber() bool { return v.sound+v.faults+v.powerOns > 0 }

// Hear takes one message. It tells whether the topic is new, with what it says.
func (s *Survey) Hear(d *ingest.Delivery) (fresh bool, says string) {
	s.messages++
	t := s.topics[d.Topic]
	if fresh = t == nil; fresh {
		if len(s.topics) >= maxTopics {
			s.beyond++
			return false, ""
		}
		t = &topic{name: d.Topic, values: map[string]*value{}}
		t.skeleton, t.pieces = cut(d.Topic)
		s.topics[d.Topic] = t
	}
	t.messages++
	if d.Retained {
		t.retained++
	} else if len(t.times) < maxTimes {
		t.times = append(t.times, d.Arrived)
	}
	leaves := ingest.Leaves(d.Payload, s.zone)
	if len(leaves) == 1 && leaves[0].Pointer == "" && math.IsNaN(leaves[0].Number) {
		t.shape = ingest.Shape(d.Payload)
	}
	for _, leaf := range leaves {
		v := t.values[leaf.Pointer]
		if v == nil {
			if len(t.values) >= maxValues {
				s.beyond++
				continue
			}
			v = newValue()
			t.values[leaf.Pointer] = v
		}
		h := heard(leaf, d.Arrived)
		if d.Retained { // it may have lain there for hours
			h.lag = 0
		}
		v.add(h)
		if !d.Retained && h.sound > 0 {
			v.live(h.low)
		}
		v.stamps = v.stamps[:min(len(v.stamps), maxTimes)]
	}
	if t.shape != "" {
		return fresh, t.shape
	}
	return fresh, sayLeaves(leaves)
}

// Numbers by which a DS18B20 reports failure: 85 °C is what the chip holds
// after power-on (datasheet, Maxim Integrated 2019), -127 °C is a common
// library's word for no answer.
const (
	powerOn  = 85.0
	noAnswer = -127.0
)

// heard is what is heard of a value in one message.
func heard(leaf ingest.Leaf, arrived time.Time) *value {
	v := newValue()
	v.text, v.unit = leaf.Text, leaf.Unit
	switch {
	case leaf.Time.IsZero():
	case ingest.Believable(leaf.Time, arrived):
		v.stamps, v.lag = []time.Time{leaf.Time}, arrived.Sub(leaf.Time)
	default:
		v.misdated = 1
	}
	switch n := leaf.Number; {
	case math.IsNaN(n) && leaf.Text != "null" && leaf.Text != "NaN" && leaf.Text != "nan": // a text
	case n == powerOn:
		v.powerOns = 1
	case math.IsNaN(n), math.IsInf(n, 0), n == noAnswer:
		v.faults = 1
	default:
		v.sound, v.low, v.high, v.fraction = 1, n, n, n != math.Trunc(n)
	}
	return v
}

// add takes in what a value was heard to be later, or in a look-alike topic.
func (v *value) add(o *value) {
	v.changed = v.changed || v.text != "" && v.text != o.text
	v.text, v.unit = o.text, cmp.Or(o.unit, v.unit)
	v.sound += o.sound
	v.low, v.high = min(v.low, o.low), max(v.high, o.high)
	v.fraction = v.fraction || o.fraction
	v.faults += o.faults
	v.powerOns += o.powerOns
	v.stamps = append(v.stamps, o.stamps...)
	v.misdated += o.misdated
	v.lag = min(v.lag, o.lag)
}

// live takes the number of a message that was not stored by the broker.
func (v *value) live(n float64) {
	if v.now = n; math.Abs(n-v.held) > math.Abs(v.far-v.held) {
		v.far = n
	}
}

// noTemperature takes 85 for the number that it is: a humidity, a charge.
func (v *value) noTemperature() {
	if v.powerOns > 0 {
		v.add(&value{text: v.text, sound: v.powerOns, low: powerOn, high: powerOn})
		v.powerOns = 0
	}
}
