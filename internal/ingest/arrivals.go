package ingest

import (
	"encoding/json"
	"fmt"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/trend"
)

const (
	// silences is how many times its longest usual gap a probe must have been
	// silent before what follows at once may have been kept meanwhile.
	silences = 3
	// shortSilence is how long nothing that was kept can be wrong by enough to
	// matter, ms.
	shortSilence = 60_000
	// unnoticed is how long a connection may be gone before the link is told down,
	// ms: a ping is due, is not answered, and the look comes after that.
	unnoticed = int64((keepAlive + handshakeTime + watchTime) / time.Millisecond)
	// quietLink is after how long without a sign of a backlog it is taken to be
	// through, where no marker has come back, ms.
	quietLink = 30_000
	// longBacklog is how long a backlog is waited for at most, ms.
	longBacklog = 3600_000
	// dense is how soon messages of a probe follow one another in a backlog, where
	// its own pace is not known, ms.
	dense = 1000
	// freshJot is how long a jot may have waited and still be taken as jotted on
	// arrival: far less than a lid stays off.
	freshJot = 10 * time.Minute
)

// Arrivals tells which messages have no true time. What was kept somewhere on
// its way comes late, and without the device's own time stamp nobody knows when
// it was sent.
//
// What a broker kept is known: where it has resumed our session, all that comes
// before an [farm.EventCaught] was queued. What a gateway kept is seen by its
// coming: after a silence that is long for the probe, its messages follow one
// another faster than it ever speaks. They are uncertain until it has once kept
// its own pace again. That pace is learned from what is heard; what the keeper
// says in `every` stands in only until then. What waited for less than that is
// good enough: its arrival is taken for its time.
//
// Mark looks and changes nothing; Follow learns, from the very events that go
// into the journal, so that a replay gives the same memory.
type Arrivals struct {
	farm *farm.Farm
	arrivalsMemory
}

// arrivalsMemory is what is saved; times are ms since 1970, 0 for never.
type arrivalsMemory struct {
	Up      bool  // the broker can be heard
	Backlog bool  // what comes may be from its backlog
	Marked  bool  // a marker of our own tells when that is through
	Began   int64 // when the broker was reached
	Stirred int64 // newest sign that the backlog is still coming
	Caught  int64 // up to when nothing was left waiting
	Probes  map[string]*arrival
}

// NewArrivals knows the probes of f and has heard nothing of them. The farm must
// not change afterwards.
func NewArrivals(f *farm.Farm) *Arrivals {
	a := &Arrivals{farm: f, arrivalsMemory: arrivalsMemory{Probes: make(map[string]*arrival, len(f.Probes))}}
	for _, p := range f.Probes {
		a.Probes[p.ID] = &arrival{every: p.Every}
	}
	return a
}

// An arrival is what is known of how one probe's messages arrive.
type arrival struct {
	Pace   trend.Pace
	Newest int64         // its newest message
	True   int64         // its newest message that had not waited
	Away   bool          // we have not heard the broker all the time since Newest
	Burst  burst         `json:"Pour"` // as snapshots have always called it
	every  time.Duration // as the keeper has said
}

// A burst is messages that a gateway may have kept and hands over at once.
type burst struct {
	N     int // messages so far; 0: none is on
	Most  int // as many as can have been kept
	Spare int // as many are as usual: it may be no burst
}

// Pace is how often a probe speaks, 0 while that is not known, and how often the
// keeper has said it does.
func (a *Arrivals) Pace(probe string) (own, every time.Duration) {
	p := a.Probes[probe]
	switch {
	case p == nil:
		return 0, 0
	case p.Pace.Known():
		return p.Pace.Every(), p.every
	}
	return 0, p.every
}

// Waiting tells whether what comes may be from the broker's backlog.
func (a *Arrivals) Waiting() bool { return a.Backlog }

// Link gives how the link to the broker stands.
func (a *Arrivals) Link() (up bool, b farm.Backlog) {
	switch {
	case !a.Backlog:
		return a.Up, farm.NoBacklog
	case a.Marked:
		return a.Up, farm.Marked
	}
	return a.Up, farm.Unmarked
}

// Through tells that the backlog must be through at a time, though nothing has
// said so: the link has been quiet, or it has lasted for very long.
func (a *Arrivals) Through(at time.Time) bool {
	ms := at.UnixMilli()
	return a.Backlog && (ms-a.Stirred >= quietLink || ms-a.Began >= longBacklog)
}

// Mark sets Uncertain. Readings are to be given in the order of arrival. Held is
// how long the message has waited since it came. A stored value without a time
// stamp may be of any age and is always uncertain.
func (a *Arrivals) Mark(r *farm.Reading, arrived time.Time, held time.Duration) {
	switch {
	case r.Stamped:
		return
	case r.Retained:
		r.Uncertain = true
		return
	}
	p, at := a.Probes[r.Probe], arrived.UnixMilli()
	if p == nil {
		return
	}
	every := p.every.Milliseconds()
	if p.Pace.Known() {
		every = p.Pace.Every().Milliseconds()
	}
	_, kept := p.inBurst(at)
	r.Uncertain = held.Milliseconds() >= every || a.queued(p, at, every) || !a.Backlog && kept
}

// Unsure tells whether a message that bears no time of its own, and has no pace
// either, waited for too long to be taken as sent on arrival.
func (a *Arrivals) Unsure(arrived time.Time, held time.Duration) bool {
	waited := arrived.UnixMilli() - a.Caught
	return held >= freshJot || a.Backlog && (a.Caught == 0 || waited >= freshJot.Milliseconds())
}

// Earliest is when a message that arrives now can have been sent at the
// earliest; the zero time when that is not known.
func (a *Arrivals) Earliest() time.Time {
	if a.Caught == 0 {
		return time.Time{}
	}
	return time.UnixMilli(a.Caught).UTC()
}

// queued tells whether a message may have been kept by the broker for as long as
// its probe's pace. It was sent after the last one that had not waited, and after
// the broker last had nothing left for us.
func (a *Arrivals) queued(p *arrival, at, every int64) bool {
	switch {
	case !a.Backlog:
		return false
	case a.Caught != 0 && at-a.Caught < every, p.True != 0 && at-p.True < 2*every:
		return false
	}
	return a.Marked || !a.keepsPace(p, at)
}

// keepsPace tells whether a message follows another of its probe on this
// connection no sooner than the probe speaks.
func (a *Arrivals) keepsPace(p *arrival, at int64) bool {
	least := int64(2 * dense)
	if p.Pace.Known() {
		least = p.Pace.Usual.Least
	}
	return p.Newest >= a.Began && at-p.Newest >= least/2
}

// inBurst gives what becomes of a burst with a message that comes now, and
// whether that message is part of one.
func (p *arrival) inBurst(at int64) (next burst, kept bool) {
	gap, usual := at-p.Newest, p.Pace.Usual
	switch next = p.Burst; {
	case p.Newest == 0 || !p.Pace.Known():
		return burst{}, false
	case next.N > 0 && (gap >= usual.Least/2 || next.N >= next.Most):
		return burst{}, false
	case next.N > 0:
		next.N++
		next.Spare--
		return next, next.Spare < 0
	case gap <= max(silences*usual.Longest, shortSilence):
		return burst{}, false
	}
	next = burst{N: 1, Most: int(gap*3/2/max(usual.Least, 1)) + usual.Most + 2}
	if p.Away { // the silence may be ours
		next.Spare = usual.Most - 1
	}
	return next, !p.Away
}

// Follow learns from an event of the journal.
func (a *Arrivals) Follow(e farm.Event) {
	at := e.Arrived.UnixMilli()
	switch e.Kind {
	case farm.EventReading:
		if p := a.Probes[e.Reading.Probe]; p != nil && !e.Reading.Retained {
			a.hear(p, &e.Reading, at)
		}
	case farm.EventStart:
		a.leave()
	case farm.EventLink:
		if a.Up && !a.Backlog && !e.Up {
			a.Caught = max(a.Caught, at-unnoticed)
		}
		a.leave()
		if e.Up {
			a.reach(e.Backlog, at)
		}
	case farm.EventCaught:
		a.Backlog, a.Caught = false, at
		for _, p := range a.Probes {
			p.Burst = burst{}
		}
	case farm.EventClock:
		a.shift(e.Shift.Milliseconds(), e.From.UnixMilli())
	}
}

// leave notes that we do not hear the broker.
func (a *Arrivals) leave() {
	a.Up, a.Backlog = false, false
	for _, p := range a.Probes {
		p.Away = true
	}
}

// reach notes that we hear the broker.
func (a *Arrivals) reach(b farm.Backlog, at int64) {
	a.Up, a.Backlog, a.Marked = true, b != farm.NoBacklog, b == farm.Marked
	a.Began, a.Stirred = at, at
	if !a.Backlog {
		a.Caught = at
	}
}

// hear learns from a reading.
func (a *Arrivals) hear(p *arrival, r *farm.Reading, at int64) {
	switch {
	case r.Stamped:
		p.Burst = burst{}
	case !a.Backlog:
		p.Burst, _ = p.inBurst(at)
	case !a.keepsPace(p, at):
		a.Stirred = at
	}
	switch {
	case r.Stamped:
		p.Pace.Hear(r.At.UnixMilli())
	case r.Uncertain:
		p.Pace.Skip(at)
	default:
		p.Pace.Hear(at)
	}
	p.Newest, p.Away = at, false
	if a.Backlog || r.Uncertain {
		return
	}
	p.True = at
	if a.Up {
		a.Caught = at
	}
}

// shift moves what was noted from a moment on, after the clock was put right.
func (a *Arrivals) shift(ms, from int64) {
	shift(ms, from, &a.Began, &a.Stirred, &a.Caught)
	for _, p := range a.Probes {
		shift(ms, from, &p.Newest, &p.True)
		p.Pace.Shift(ms, from)
	}
}

// Save writes what is known, the same bytes for the same memory.
func (a *Arrivals) Save() ([]byte, error) {
	b, err := json.Marshal(a.arrivalsMemory)
	if err != nil {
		return nil, fmt.Errorf("save arrivals: %w", err)
	}
	return b, nil
}

// Load replaces what is known by what Save wrote, in which names are those of its time.
// Probes that are no longer there are dropped. After an error nothing is known.
func (a *Arrivals) Load(b []byte, since farm.Renames) error {
	*a = *NewArrivals(a.farm)
	var s arrivalsMemory
	if err := json.Unmarshal(b, &s); err != nil {
		return fmt.Errorf("load arrivals: %w", err)
	}
	for id, was := range s.Probes {
		if p := a.Probes[since.Probe(id)]; p != nil && was != nil {
			was.every = p.every
			*p = *was
		}
	}
	s.Probes = a.Probes
	a.arrivalsMemory = s
	return nil
}
