// Package demo is the invented Hillfoot Nursery: a simulated farm whose probes
// speak like real ones, for showing the program with no hardware at hand.
//
// The nursery has a glasshouse bed with a sifting end, a potting-shed stack of
// trays, a propagation cabinet with African worms, an outdoor trough with
// European ones, a crate and a barrel of stored castings, and a keeper who
// walks round every seventh morning. Its season always stands at late spring,
// whatever the calendar says; a cold snap, a failed heater and a heat wave
// come round every thirty days (see site.go), so that thirty days of history
// hold each of them once. The yard's weather is foretold, a day and a half ahead.
//
// Read sim.go first: what is said and when. site.go is the nursery's matter and
// weather, keeper.go the keeper's rounds, devices.go what each sender says, yaml.go
// the configuration that fits them, radio.go the way to a broker.
//
// A [Sim] is pure: seed and start decide everything it will ever say, to the
// byte. It knows nothing of how readings are judged and must not import the
// packages that judge them. [Sim.Play] and [Radio] are the one edge to a real
// broker. Who calls it: cmd/binwatchd, and tests that want plausible messages.
package demo

import (
	"slices"
	"time"

	"binwatchd/internal/physics"
)

// A Sim is the nursery from its start onwards. It only ever goes forward, and
// it is not safe for use by several goroutines at once.
type Sim struct {
	start   time.Time
	dice    physics.Dice
	site    *site
	senders []*device
	keeper  keeper
	crateV  battery
	shedPct battery
	said    []Message // jots written, to be sent at their time; in time order
}

// New makes the nursery as it stands at start. Equal seeds and starts make
// equal farms.
func New(seed uint64, start time.Time) *Sim {
	d := physics.Dice(seed).Named("hillfoot")
	s := &Sim{start: start.UTC(), dice: d, site: newSite(d, start)}
	s.crateV = battery{full: 3.92, perDay: 0.025, low: 3.3, changeAt: 3.15, changed: s.start}
	s.shedPct = battery{full: 96, perDay: 0.9, low: 20, changeAt: 17, changed: s.start}
	s.keeper = keeper{dice: d.Named("keeper")}
	s.senders = s.devices()
	return s
}

// Start is when the nursery's time began, in UTC.
func (s *Sim) Start() time.Time { return s.start }

// Next is the earliest time at which anything can be said: call Until with it
// or a later time. What is due then may turn out to be lost on the air.
func (s *Sim) Next() time.Time {
	at, _ := s.due()
	return at
}

// Until lets the nursery live until t and gives every message sent up to and
// including t to emit, in time order. Calling it for a time already passed does
// nothing.
func (s *Sim) Until(t time.Time, emit func(Message)) {
	for at, happen := s.due(); !at.After(t); at, happen = s.due() {
		s.site.reach(at)
		if m, ok := happen(); ok {
			emit(m)
		}
	}
}

// due finds the earliest of the senders' turns, the keeper's stops and the
// jots waiting to be sent, and what then happens. At equal times the order is that
// of this sentence.
func (s *Sim) due() (at time.Time, happen func() (Message, bool)) {
	first := slices.MinFunc(s.senders, func(a, b *device) int { return a.due.Compare(b.due) })
	if t := s.keeper.next(s.site.origin); t.Before(first.due) {
		return t, func() (Message, bool) { s.stop(t); return Message{}, false }
	}
	if len(s.said) > 0 && s.said[0].At.Before(first.due) {
		m := s.said[0]
		return m.At, func() (Message, bool) { s.said = s.said[1:]; return m, true }
	}
	return first.due, func() (Message, bool) { return first.speak(s.site.origin) }
}

// A Message is one MQTT publication.
type Message struct {
	At      time.Time // when it is sent; whole milliseconds
	Topic   string
	Payload []byte
	Retain  bool
}
