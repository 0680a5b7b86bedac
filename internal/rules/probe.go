package rules

import (
	"math/bits"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/trend"
)

const (
	silentAfter = 3  // times `every`
	spikesMany  = 3  // that many spells of spikes in sixteen readings make a probe suspect
	goodInARow  = 3  // believed readings that clear a first suspicion
	goodAtMost  = 96 // and a probe that goes on relapsing within a day
)

// A probe is one probe's past as far as judging needs it.
type probe struct {
	spec farm.Probe
	who  subject
	zone *zone // nil for ambient probes and batteries

	powers   []*probe  // of a battery: what runs on it
	air      bool      // it measures that of a room, or around a bin
	measured *measured // of its zone

	silent, suspect, batteryLow *record
	probeMemory
}

// probeMemory is the part that goes into a snapshot.
type probeMemory struct {
	Newest   farm.Reading // newest that was not late, doubted or not
	Arrived  time.Time    // of Newest
	Good     farm.Reading // newest believed one
	GoodAt   time.Time    // arrival of Good
	Dated    time.Time    // of the newest believed one that its device has stamped
	Unsure   bool         // Level holds one value, of an uncertain time
	Felt     feltRecord   // beside it, where it said otherwise
	Bad      farm.Reading // newest doubted one that made it suspect, or kept it so
	Harm     time.Time    // since when what it says, doubted, is past what the zone survives; zero: it is not
	Heard    time.Time    // when it last spoke, or listening began
	Said     time.Time    // when it last spoke, however long nobody listened since
	Pace     trend.Pace   // how often it speaks
	Spoke    bool         // it has spoken at least once
	Gone     time.Time    // since when its device is said to be gone; zero: it is not
	GoneSays string       // the word that said so
	Away     bool         // it has fallen silent, and not spoken since
	Back     time.Time    // when it last spoke after that
	Drops    []time.Time  // when it did of late, oldest first
	Doubts   uint16       // the last readings, 1 for a doubted one, newest lowest
	Goods    int          // believed readings in a row
	Wanted   int          // believed readings in a row that clear the suspicion in hand
	Level    trend.Window
	Apart    float64 // how far its level lies from the middle of its zone's, where that is known
	HasApart bool
	Seat     *farm.Place // in a snapshot: the zone that it stood in; nil: not known
	Track    trend.Track // of a thermometer: its slow past, which forecasts are drawn from
}

func newProbe(spec farm.Probe) *probe {
	return &probe{spec: spec, who: subject{Probe: spec.ID}, probeMemory: probeMemory{
		Level: trend.NewWindow(spec.Measures.Row().Median), Track: trend.NewTrack(),
	}}
}

// records are those of the probe's own conditions.
func (p *probe) records() []*record { return []*record{p.silent, p.suspect, p.batteryLow} }

// settle places a battery where the first probe that runs on it is, and makes the
// records of the place.
func (p *probe) settle(byID map[string]*probe) {
	for _, id := range p.spec.Of {
		of := byID[id]
		if of == nil {
			continue
		}
		if p.powers = append(p.powers, of); of.zone != nil && p.who.Bin == "" {
			p.who.Bin, p.who.Zone = of.who.Bin, of.who.Zone
		}
	}
	add := func(c farm.Condition) *record {
		return newRecord(about{who: p.who, what: topic{condition: c}, probe: p})
	}
	p.silent, p.suspect, p.batteryLow = add(farm.Silent), add(farm.Suspect), add(farm.BatteryLow)
}

// listen counts silence from t at the earliest.
func (p *probe) listen(t time.Time) { p.Heard = later(p.Heard, t) }

// fresh tells whether the newest believed reading is young enough to speak
// for the probe at arrival time m. A probe that speaks more slowly than the
// keeper has said speaks for as long as it takes. Of what came all at once, the
// last that was believed may be hours older than the last that was said.
func (p *probe) fresh(m time.Time) bool {
	speaks := silentAfter * max(p.spec.Every, p.Pace.Pause())
	behind := p.Newest.Stamped && p.Good.Stamped && p.Newest.At.Sub(p.Good.At) > speaks
	return !p.GoodAt.IsZero() && m.Sub(p.GoodAt) <= speaks && !behind
}

// slow tells whether a probe's own pace is one that counts as silence: one that
// speaks more slowly by the clock, or only when something has changed.
func (p *probe) slow() bool { return p.Pace.Known() && p.Pace.Pause() > silentAfter*p.spec.Every }

// otherPace tells whether a probe speaks twice as often as the keeper has said,
// or half as often.
func (p *probe) otherPace() bool {
	own := p.Pace.Every()
	return p.Pace.Known() && (own > 2*p.spec.Every || 2*own < p.spec.Every)
}

// clock gives the probe's own time at arrival time m: a device's clock may be
// off, but goes on at the same rate.
func (p *probe) clock(m time.Time) time.Time { return p.Good.At.Add(m.Sub(p.GoodAt)) }

// reading takes a reading in, unless it is older than what is known.
func (s *State) reading(r *farm.Reading) {
	p := s.byID[r.Probe]
	if p == nil {
		return
	}
	if r.Retained { // shown where nothing better is known; it is no sign of life and judges nothing
		if p.Newest.At.IsZero() {
			p.Newest = *r
		}
		return
	}
	if p.Away {
		p.Back = s.Now
	}
	away := p.Away || p.Doubts&3 == 3 // for more than one reading
	p.Heard, p.Said, p.Spoke, p.Away = s.Now, s.Now, true, false
	p.Gone = time.Time{} // whatever was said of its device
	p.listenTo(r, s.Now)
	if p.silent.raised() && !p.slow() && !p.dropping(s.Now) {
		s.emit(p.silent, s.Now, farm.Calm)
	}
	if p.late(r) {
		return
	}
	p.Newest, p.Arrived = *r, s.Now
	if p.retired(s.Now) {
		return
	}
	s.judgeDoubt(p, r)
	if !r.Believed() {
		return
	}
	p.Good, p.GoodAt = *r, s.Now
	if r.Stamped {
		p.Dated = r.At
	}
	if p.spec.Measures == farm.Battery {
		s.judgeBattery(p)
		return
	}
	p.take(r)
	if away && p.zone != nil && p.measured == p.zone.moist && !p.measured.At.IsZero() {
		p.measured.disturb(r.At) // put back, for all that is known
	}
	if p.zone != nil {
		s.sense(p.zone, p, r)
	}
	s.feel(p, r)
}

// goneFor is how long a device may be gone before its probes are silent: a radio that
// reconnects takes minutes at most. A choice, no source.
const goneFor = 10 * time.Minute

// gone tells whether the probe's device has been gone for long.
func (p *probe) gone(m time.Time) bool { return !p.Gone.IsZero() && m.Sub(p.Gone) >= goneFor }

// word takes in that a device is there or gone, for each of its probes.
func (s *State) word(l *farm.Liveness) {
	for _, p := range s.probes {
		switch {
		case p.spec.Alive.Topic != l.Topic:
		case l.Gone && p.Gone.IsZero():
			p.Gone, p.GoneSays = s.Now, l.Says
		case !l.Gone:
			p.Gone = time.Time{}
			if p.silent.raised() && s.Now.Sub(p.Heard) <= silentAfter*p.spec.Every && !p.dropping(s.Now) {
				p.Away = false
				s.emit(p.silent, s.Now, farm.Calm)
			}
		}
	}
}

// listenTo learns the pace.
func (p *probe) listenTo(r *farm.Reading, arrived time.Time) {
	if r.Uncertain {
		p.Pace.Skip(arrived.UnixMilli())
	} else {
		p.Pace.Hear(r.At.UnixMilli())
	}
}

// late tells whether a reading is older than the newest that its device has
// stamped, or that one sent again. A doubted one is no measure, nor is one whose
// arrival stands in for its time: what the device has kept follows it.
func (p *probe) late(r *farm.Reading) bool {
	return r.At.Before(p.Dated) || r.Stamped && r.At.Equal(p.Dated)
}

// take lets a believed reading into the running median. One without a true
// time counts only where nothing else is known, and then alone: a backlog
// poured out in a second must not outvote the half hour around it. Its last word
// stands until one of a true time comes. A stamped reading takes the place of
// those that arrived before it without a stamp and would be later.
func (p *probe) take(r *farm.Reading) {
	newest, ok := p.Level.Newest()
	switch {
	case r.Uncertain && ok && !p.Unsure && r.At.Sub(newest) < p.Level.Span:
		return // what is known of the present counts for more
	case r.Uncertain || p.Unsure:
		p.Level.Clear()
	case r.Stamped:
		p.Level.Cut(r.At)
	}
	p.Unsure = r.Uncertain
	p.Level.Add(r.At, r.Value)
}

func (s *State) judgeDoubt(p *probe, r *farm.Reading) {
	p.Doubts <<= 1
	p.Goods++
	if !r.Believed() {
		p.Doubts |= 1
		p.Goods = 0
	}
	if p.zone != nil && p.zone.holding(r.At) {
		return
	}
	switch urgency := p.suspicion(r); {
	case urgency != farm.Calm:
		p.Bad = *r
		raised := p.suspect.raised()
		s.emit(p.suspect, r.At, max(urgency, p.suspect.Urgency)) // while it lasts it never counts for less
		switch {
		case raised:
		case s.out[len(s.out)-1].Again: // a flaky one is not to come and go all day
			p.Wanted = min(2*p.Wanted, goodAtMost)
		default:
			p.Wanted = goodInARow
		}
	case p.feltOtherwise(r):
	case p.suspect.raised() && p.Goods >= p.Wanted:
		s.emit(p.suspect, r.At, farm.Calm)
	}
}

// suspicion is how urgently a keeper should look at a probe for its newest
// reading; Calm for a believed one and for one odd spike. What is not believed
// judges no bin; but where it goes on saying that the worms are in danger,
// somebody must see today whether it is right.
func (p *probe) suspicion(r *farm.Reading) farm.Urgency {
	p.Harm = running(p.Harm, r.At, p.harmful(r))
	switch {
	case !p.Harm.IsZero() && r.At.Sub(p.Harm) >= p.zone.spec.Patience:
		return farm.Today
	case !r.Believed() && (r.Doubt != farm.Spike || p.spells() >= spikesMany):
		return farm.Soon
	}
	return farm.Calm
}

// harmful tells whether a doubted reading is a number that a bin may have, past
// what its zone survives.
func (p *probe) harmful(r *farm.Reading) bool {
	switch r.Doubt {
	case farm.NoDoubt, farm.FaultCode, farm.OutOfRange, farm.NotANumber:
		return false
	}
	m := p.measured
	return m != nil && (m.below.past(farm.Now, r.Value) || m.above.past(farm.Now, r.Value))
}

// spells counts the separate runs of doubt in the last sixteen readings. One is
// a hiccup, or an honest step that is not believed until it has lasted.
func (p *probe) spells() int { return bits.OnesCount16(p.Doubts &^ (p.Doubts >> 1)) }

// judgeBattery raises at the limit and eases a little above it, so that a
// battery that recovers in the sun does not flicker.
func (s *State) judgeBattery(p *probe) {
	const back = 1.02
	low, v, was := p.spec.Low, p.Good.Value, p.batteryLow.raised()
	if low > 0 {
		s.turn(p.batteryLow, p.Good.At, v < low || was && v < low*back)
	}
}
