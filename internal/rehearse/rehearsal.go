package rehearse

import (
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/rules"
)

// A Rehearsal is a farm that is fed from a recording.
type Rehearsal struct {
	farm     *farm.Farm
	decoder  *ingest.Decoder
	doubter  *ingest.Doubter
	arrivals *ingest.Arrivals
	state    *rules.State
	on       func(farm.Change)
	told     func(farm.Change) bool
	from     time.Time
	to       time.Time
	stats    Stats
	outcome  Outcome
	hour     time.Time // up to when hours outside thrive are counted
}

// Stats count what went through.
type Stats struct {
	Messages int64            `json:"messages"`
	Readings int64            `json:"readings"`
	Doubted  int64            `json:"doubted"`
	Rejected map[string]int64 `json:"rejected,omitempty"` // messages or parts of them, by reason
	Changes  int64            `json:"changes"`
	Told     int64            `json:"told"` // changes that somebody would be told
	First    time.Time        `json:"first,omitzero"`
	Last     time.Time        `json:"last,omitzero"`
}

// Config says what is rehearsed.
type Config struct {
	Farm     *farm.Farm
	Prefix   string                 // of jots, hushes and seens
	From, To time.Time              // only what arrives in [From, To); zero: no limit
	On       func(farm.Change)      // called for every change, in order
	Told     func(farm.Change) bool // whether anybody would be told; nil: what is told by default
}

// New makes a rehearsal of a farm of which nothing is known yet.
func New(cfg Config) *Rehearsal {
	return &Rehearsal{
		farm: cfg.Farm, decoder: ingest.NewDecoder(cfg.Farm, cfg.Prefix), doubter: ingest.NewDoubter(cfg.Farm),
		arrivals: ingest.NewArrivals(cfg.Farm), state: rules.New(cfg.Farm),
		on: cfg.On, told: toldBy(cfg.Told), from: cfg.From, to: cfg.To, stats: Stats{Rejected: map[string]int64{}},
	}
}

// toldBy is what the tellers say, or what is told by default: what is raised or
// worsened at today or now.
func toldBy(tellers func(farm.Change) bool) func(farm.Change) bool {
	if tellers != nil {
		return tellers
	}
	return func(ch farm.Change) bool {
		return (ch.Change == farm.Raised || ch.Change == farm.Worsened) && ch.Urgency >= farm.Today
	}
}

// Stats gives the counts so far.
func (r *Rehearsal) Stats() Stats { return r.stats }

// Outcome gives what was noticed so far, under a name.
func (r *Rehearsal) Outcome(name string) Outcome {
	o := r.outcome
	o.Name, o.Stats = name, r.stats
	return o
}

// State gives the farm as it stands.
func (r *Rehearsal) State() *rules.State { return r.state }

// wanted tells whether what arrives at t is to be rehearsed.
func (r *Rehearsal) wanted(t time.Time) bool {
	return !t.Before(r.from) && (r.to.IsZero() || t.Before(r.to))
}

func (r *Rehearsal) note(arrived time.Time) {
	if r.stats.Messages == 0 {
		r.stats.First = arrived
	}
	r.stats.Messages++
	r.stats.Last = arrived
}

// step judges one event and hands its changes on.
func (r *Rehearsal) step(e farm.Event) {
	if e.Kind == farm.EventReading {
		r.stats.Readings++
		if !e.Reading.Believed() {
			r.stats.Doubted++
		}
	}
	for _, ch := range r.state.Step(e) {
		r.stats.Changes++
		if r.told(ch) {
			r.outcome.Notices++
			r.stats.Told++
		}
		r.outcome.take(ch)
		r.on(ch)
	}
	if hour := e.Arrived.Truncate(time.Hour); hour.After(r.hour) {
		r.hour = hour
		r.outcome.outside(r.state.Look(e.Arrived))
	}
}
