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
	mostTopics   = 4000
	mostChannels = 64 // values of one topic
	mostTimes    = 64 // arrivals and time stamps of one topic
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
	beyond   int // messages of topics there was no room for
}

// New makes an empty survey.
func New() *Survey { return &Survey{topics: map[string]*topic{}} }

// A topic is what is remembered of one topic.
type topic struct {
	name     string
	messages int
	retained int
	times    []time.Time // of arrival, without what was retained
	channels map[string]*channel
	last     string // of the newest payload that holds no number
	beyond   int    // values there was no room for
}

// A channel is one value of a topic's payloads, by its JSON Pointer.
type channel struct {
	numbers   int
	low, high float64 // of the numbers that are no fault codes
	sound     int     // how many those are
	whole     bool    // none of them had a fraction
	faults    int     // fault codes, NaN and the like
	text      string  // the newest, as it stood there
	changed   bool    // it was another before
	stamps    []time.Time
	misdated  int // time stamps that a decoder would not believe
}

// Hear takes one message. It tells whether the topic is new, with what it
// says.
func (s *Survey) Hear(m Message) (fresh bool, says string) {
	s.messages++
	t := s.topics[m.Topic]
	if t == nil {
		if len(s.topics) >= mostTopics {
			s.beyond++
			return false, ""
		}
		t = &topic{name: m.Topic, channels: map[string]*channel{}}
		s.topics[m.Topic] = t
		fresh = true
	}
	return fresh, t.hear(m)
}

// Messages is how many were heard.
func (s *Survey) Messages() int { return s.messages }

// sorted gives the topics by name.
func (s *Survey) sorted() []*topic {
	var all []*topic
	for _, name := range slices.Sorted(maps.Keys(s.topics)) {
		all = append(all, s.topics[name])
	}
	return all
}

func (t *topic) hear(m Message) (says string) {
	t.messages++
	if m.Retained {
		t.retained++
	} else if len(t.times) < mostTimes {
		t.times = append(t.times, m.At)
	}
	leaves := ingest.Leaves(m.Payload)
	if len(leaves) == 0 {
		t.last = "nothing"
		return t.last
	}
	for _, leaf := range leaves {
		if c := t.channel(leaf.Pointer); c != nil {
			c.hear(leaf, m)
		}
	}
	return sayLeaves(leaves)
}

// channel gives the channel of a pointer; nil when there is no room for it.
func (t *topic) channel(pointer string) *channel {
	c := t.channels[pointer]
	if c == nil {
		if len(t.channels) >= mostChannels {
			t.beyond++
			return nil
		}
		c = &channel{low: math.Inf(1), high: math.Inf(-1), whole: true}
		t.channels[pointer] = c
	}
	return c
}

func (c *channel) hear(leaf ingest.Leaf, m Message) {
	c.changed = c.changed || c.text != "" && c.text != leaf.Text
	c.text = leaf.Text
	if !leaf.Time.IsZero() {
		c.stamp(leaf.Time, m.At)
	}
	switch v := leaf.Number; {
	case math.IsNaN(v) && leaf.Text != "null" && leaf.Text != "NaN" && leaf.Text != "nan":
		return // a text
	case math.IsNaN(v), math.IsInf(v, 0), v == powerOn, v == noAnswer:
		c.numbers++
		c.faults++
	default:
		c.numbers++
		c.sound++
		c.low, c.high = min(c.low, v), max(c.high, v)
		c.whole = c.whole && v == math.Trunc(v)
	}
}

// Numbers by which a DS18B20 reports failure: 85 °C is what the chip holds
// after power-on (datasheet, Maxim Integrated 2019), -127 °C is a common
// library's word for no answer.
const (
	powerOn  = 85.0
	noAnswer = -127.0
)

func (c *channel) stamp(at, arrived time.Time) {
	switch {
	case !ingest.Believable(at, arrived):
		c.misdated++
	case len(c.stamps) < mostTimes:
		c.stamps = append(c.stamps, at)
	}
}
