package demo

import (
	"time"

	"binwatchd/internal/physics"
)

// A Sim is the nursery from its start onwards. It only ever goes forward, and
// it is not safe for use by several goroutines at once.
type Sim struct {
	start     time.Time
	dice      physics.Dice
	site      *site
	senders   []device
	keeper    keeper
	batteries batteries
	said      []Message // jots written, to be sent at their time; in time order
}

// New makes the nursery as it stands at start. Equal seeds and starts make
// equal farms.
func New(seed uint64, start time.Time) *Sim {
	d := physics.Dice(seed).Named("hillfoot")
	s := &Sim{start: start.UTC(), dice: d, site: newSite(d, start)}
	s.batteries.crate, s.batteries.shed = s.start, s.start
	s.keeper = keeper{dice: d.Named("keeper")}
	s.senders = s.devices()
	return s
}

// Start is when the nursery's time began, in UTC.
func (s *Sim) Start() time.Time { return s.start }

// Next is the earliest time at which anything can be said: call Until with it
// or a later time. What is due then may turn out to be lost on the air.
func (s *Sim) Next() time.Time { return s.due().at }

// Until lets the nursery live until t and gives every message sent up to and
// including t to emit, in time order. Calling it for a time already passed does
// nothing.
func (s *Sim) Until(t time.Time, emit func(Message)) {
	for d := s.due(); !d.at.After(t); d = s.due() {
		s.site.reach(d.at)
		if m, ok := d.happen(); ok {
			emit(m)
		}
	}
}

// An occasion is the next thing to happen and what then does.
type occasion struct {
	at     time.Time
	happen func() (Message, bool)
}

// due finds the earliest of the senders' turns, the keeper's stops and the
// jots waiting to be sent. At equal times the order is that of this sentence.
func (s *Sim) due() occasion {
	first := &s.senders[0]
	for i := range s.senders {
		if s.senders[i].due.Before(first.due) {
			first = &s.senders[i]
		}
	}
	if t := s.keeper.next(s.site.origin); t.Before(first.due) {
		return occasion{t, func() (Message, bool) { s.stop(t); return Message{}, false }}
	}
	if len(s.said) > 0 && s.said[0].At.Before(first.due) {
		return occasion{s.said[0].At, s.sendJot}
	}
	return occasion{first.due, func() (Message, bool) { return first.speak(s.site) }}
}

func (s *Sim) sendJot() (Message, bool) {
	m := s.said[0]
	s.said = s.said[1:]
	return m, true
}
