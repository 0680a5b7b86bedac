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
// group.go for look-alike topics and their names, meaning.go and vocabulary.go
// for what names say, units.go for what numbers say, and yaml.go for the text.
package survey

import (
	"maps"
	"math"
	"slices"
	"time"

	"binwatchd/internal/ingest"
)

// Bounds on what is remembered: topics come from outside, and a broker may
// carry the whole house.
const (
	maxTopics = 4000
	maxValues = 64 // of one topic
	maxTimes  = 64 // arrivals and time stamps of one topic
)

// A Message is one thing heard.
type Message struct {
	Topic    string
	Payload  []byte
	At       time.Time // of arrival
	Retained bool      // the broker's stored value, of unknown age
}

// A Survey collects what is heard. It is for one goroutine.
type Survey struct {
	topics   map[string]*topic
	messages int
	beyond   int // messages of topics, and values, there was no room for
}

// New makes an empty survey.
func New() *Survey { return &Survey{topics: map[string]*topic{}} }

// A topic is what is remembered of one topic.
type topic struct {
	name               string
	messages, retained int
	times              []time.Time       // of arrival, without what was retained
	values             map[string]*value // by JSON Pointer
}

// A value is what one value of a topic's payloads was heard to be.
type value struct {
	text      string  // the newest, as it stood there
	changed   bool    // the text was another before
	sound     int     // numbers that are no fault codes
	low, high float64 // of those
	whole     bool    // none of those had a fraction
	faults    int     // fault codes, NaN and the like
	powerOns  int     // of those, how many are a number of anything but a DS18B20
	stamps    []time.Time
	misdated  int // time stamps that a decoder would not believe
}

func newValue() *value { return &value{low: math.Inf(1), high: math.Inf(-1), whole: true} }

// isNumber tells whether any number was heard, be it a fault code.
func (v *value) isNumber() bool { return v.sound+v.faults > 0 }

// Hear takes one message. It tells whether the topic is new, with what it says.
func (s *Survey) Hear(m Message) (fresh bool, says string) {
	s.messages++
	t := s.topics[m.Topic]
	if t == nil {
		if len(s.topics) >= maxTopics {
			s.beyond++
			return false, ""
		}
		t, fresh = &topic{name: m.Topic, values: map[string]*value{}}, true
		s.topics[m.Topic] = t
	}
	t.messages++
	if m.Retained {
		t.retained++
	} else if len(t.times) < maxTimes {
		t.times = append(t.times, m.At)
	}
	leaves := ingest.Leaves(m.Payload)
	for _, leaf := range leaves {
		if t.values[leaf.Pointer] == nil {
			if len(t.values) >= maxValues {
				s.beyond++
				continue
			}
			t.values[leaf.Pointer] = newValue()
		}
		t.values[leaf.Pointer].hear(leaf, m.At)
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

func (v *value) hear(leaf ingest.Leaf, arrived time.Time) {
	v.changed = v.changed || v.text != "" && v.text != leaf.Text
	v.text = leaf.Text
	switch {
	case leaf.Time.IsZero():
	case !ingest.Believable(leaf.Time, arrived):
		v.misdated++
	case len(v.stamps) < maxTimes:
		v.stamps = append(v.stamps, leaf.Time)
	}
	switch n := leaf.Number; {
	case math.IsNaN(n) && leaf.Text != "null" && leaf.Text != "NaN" && leaf.Text != "nan":
		return // a text
	case n == powerOn:
		v.faults++
		v.powerOns++
	case math.IsNaN(n), math.IsInf(n, 0), n == noAnswer:
		v.faults++
	default:
		v.sounds(n, 1)
	}
}

// sounds takes in a number that no probe says by failing, so many times.
func (v *value) sounds(n float64, times int) {
	v.sound += times
	v.low, v.high = min(v.low, n), max(v.high, n)
	v.whole = v.whole && n == math.Trunc(n)
}

// noTemperature takes 85 for the number that it is: a humidity, a charge.
func (v *value) noTemperature() {
	if v.powerOns > 0 {
		v.sounds(powerOn, v.powerOns)
		v.faults, v.powerOns = v.faults-v.powerOns, 0
	}
}

// add takes in what the same value of a look-alike topic was heard to be.
func (v *value) add(o *value) {
	v.text = o.text
	v.sound += o.sound
	v.low, v.high = min(v.low, o.low), max(v.high, o.high)
	v.whole = v.whole && o.whole
	v.faults += o.faults
	v.powerOns += o.powerOns
	v.stamps = append(v.stamps, o.stamps...)
	v.misdated += o.misdated
}

// sorted gives the topics by name.
func (s *Survey) sorted() []*topic {
	var all []*topic
	for _, name := range slices.Sorted(maps.Keys(s.topics)) {
		all = append(all, s.topics[name])
	}
	return all
}
