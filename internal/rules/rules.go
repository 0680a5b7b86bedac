// Package rules judges the farm: a pure fold from events to changes.
//
//	changes := state.Step(event)
//
// An event is a reading, a jot, a hush, a seen, a tick or a word about the
// machinery, and carries its own time. Nothing here reads a clock, does I/O,
// starts a goroutine or depends on the order of a map: the same events always
// give the same changes, so the live daemon, a restart, a rehearsal, the demo
// and the tests all run this one function over journal order.
//
// What is judged is a zone's level, the running median of its believed
// readings; what comes out are the steps in the life of a condition: raised,
// worsened, lightened, eased. The science behind a verdict is in packages
// husbandry and trend; this package decides when to speak and what to say. Its own
// figures are choices or common practice without a source, but where a comment names
// one.
//
// In reading order: rules.go is the State and its Step. zone.go and probe.go
// hold what is known of each, retired.go ends it, level.go makes a zone's level of its probes and
// judges it by limits, day.go is the mean of its last 24 hours, settling.go
// what a moisture does after work at its probe, hysteresis.go turns a limit on and off, record.go is the
// life of a condition. band.go has the words of a level past its limits,
// probe_words.go those of a probe, dropouts.go is about one that falls silent
// again and again. heating.go, cooling.go and drying.go foresee, sifting.go
// watches the window; jot.go takes the logbook in and ledger.go keeps it, sights.go what was seen:
// water.go, food.go with feeding.go and keeping.go are about what was given, eaten and stored,
// history.go about how warm and moist it was. view.go shows how it all stands.
// snapshot.go and reconcile.go carry the state over a restart and a change of
// configuration.
package rules

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// State is all that has been learnt from the events so far. It is made by
// [New] or [Restore], moved by [State.Step] and belongs to one goroutine.
type State struct {
	farm   *farm.Farm
	zones  []*zone  // in the order of the configuration
	probes []*probe // likewise
	byID   map[string]*probe
	bins   []*bin
	rooms  []*room
	own    []*record // of the conditions of the farm's own machinery
	farmMemory

	out  []farm.Change // what the step in hand has changed
	told string        // what the machinery says of itself in the step in hand
}

// farmMemory is the part that goes into a snapshot beside probes, zones and records.
type farmMemory struct {
	Now      time.Time // arrival of the last event
	Minute   time.Time // last tick that has been run
	Linked   bool      // the broker can be heard
	Since    time.Time // when Linked became what it is
	Hushes   []hushed
	Knowings []knowing // who knows of which episode, newest last
}

// New is the state of a farm of which nothing is known yet.
func New(f *farm.Farm) *State {
	s := &State{farm: f, byID: map[string]*probe{}, farmMemory: farmMemory{Linked: true}}
	for _, spec := range f.Probes {
		p := newProbe(spec)
		s.probes = append(s.probes, p)
		s.byID[spec.ID] = p
	}
	for i := range f.Rooms {
		s.rooms = append(s.rooms, &room{spec: &f.Rooms[i]})
	}
	for i := range f.Bins {
		spec := &f.Bins[i]
		b := &bin{spec: spec, worms: husbandry.WormsOf(f, *spec), ambient: s.byID[spec.Ambient]}
		b.room = first(s.rooms, func(r *room) bool { return r.spec.Name == spec.Room })
		for _, zs := range spec.Zones {
			b.zones = append(b.zones, newZone(f, b, zs, s.byID))
		}
		s.bins, s.zones = append(s.bins, b), append(s.zones, b.zones...)
	}
	for _, p := range s.probes {
		p.settle(s.byID)
		p.air = f.AirOf(p.spec.ID) != ""
	}
	for _, row := range farm.ConditionTable {
		if row.About == farm.AboutMachinery {
			s.own = append(s.own, newRecord(about{what: topic{condition: row.Name}}))
		}
	}
	return s
}

// Step takes one event and gives the changes that follow from it. First it
// runs the ticks that fall between the event before and this one. The slice is
// the caller's; it is nil when nothing changed.
func (s *State) Step(e farm.Event) []farm.Change {
	s.out = nil
	switch e.Kind {
	case farm.EventStart:
		s.start(e.Arrived)
	case farm.EventClock:
		s.shift(e.Shift, e.From)
		s.Now = e.Arrived
		return s.out
	}
	s.advance(e.Arrived)
	switch e.Kind {
	case farm.EventReading:
		if e.Elsewhere == nil {
			s.reading(&e.Reading)
		}
	case farm.EventJot:
		s.jot(e.Jot)
	case farm.EventHush:
		s.hush(e.Hush)
	case farm.EventSeen:
		s.seen(e.Seen)
	case farm.EventLink:
		s.Linked, s.Since = e.Up, e.Arrived
	case farm.EventTrouble:
		s.trouble(e.Trouble)
	case farm.EventWeather:
		s.foretold(e.Weather)
	case farm.EventAlive:
		s.word(e.Alive)
	}
	return s.out
}

// advance runs the ticks on the fixed minutes up to t.
func (s *State) advance(t time.Time) {
	if s.Minute.IsZero() {
		s.start(t)
	}
	for m := s.Minute.Add(time.Minute); !m.After(t); m = m.Add(time.Minute) {
		s.Minute = m
		s.tick(m)
	}
	s.Now = later(s.Now, t)
}

// later is the later of two times.
func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// start says that watching begins at t, for the first time or anew. The time since
// the event before was not watched, so no tick is run over it and no probe was
// silent in it.
func (s *State) start(t time.Time) {
	if s.Minute.IsZero() {
		s.Since = t
	}
	s.Minute = later(s.Minute, t.Truncate(time.Minute))
	for _, p := range s.probes {
		p.listen(t)
	}
}

// tick is what time alone brings about.
func (s *State) tick(m time.Time) {
	for _, p := range s.probes {
		if p.retired(m) {
			s.retire(p.records(), m)
			continue
		}
		if m.Sub(p.Heard) > silentAfter*p.spec.Every || p.gone(m) {
			if s.dropOut(p, m); !s.spokenFor(p, m) {
				s.turn(p.silent, m, true)
			}
		}
	}
	for i, z := range s.zones {
		if z.spec.IsRetired(m) {
			s.retire(z.records, m)
			continue
		}
		if z.holding(m) {
			continue
		}
		s.judgeLevels(z, m)
		s.approaches(z, m)
		if m.Minute() == i%60 {
			s.foresee(z, m)
		}
	}
	s.Hushes = slices.DeleteFunc(s.Hushes, func(h hushed) bool { return !h.Until.After(m) })
}

// trouble takes in how the farm's own machinery does.
func (s *State) trouble(t farm.Trouble) {
	r := first(s.own, func(r *record) bool { return r.what.condition == t.Condition })
	s.told = t.Text
	switch {
	case r == nil: // of a later version
	case t.Over:
		s.emit(r, s.Now, farm.Calm)
	default:
		s.emit(r, s.Now, r.row.Urgency)
	}
}
