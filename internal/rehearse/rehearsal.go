// Package rehearse runs recorded messages through a configuration, to see what
// it would have noticed: the same decoding, doubting and judging as the live
// loop, with no broker, no journal written and nobody told. The same input
// gives the same output to the byte, in constant memory.
package rehearse

import (
	"context"
	"io"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/rules"
)

// A Rehearsal is a farm that is fed from a recording.
type Rehearsal struct {
	cfg      Config
	decoder  *ingest.Decoder
	doubter  *ingest.Doubter
	arrivals *ingest.Arrivals
	state    *rules.State
	stats    Stats
	outcome  Outcome
	hour     time.Time            // up to when hours outside thrive are counted
	usual    map[string]time.Time // by episode: until when it is told by the rounds alone
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
	if cfg.Told == nil {
		cfg.Told = func(ch farm.Change) bool {
			return (ch.Change == farm.Raised || ch.Change == farm.Worsened) && ch.Urgency >= farm.Today
		}
	}
	return &Rehearsal{
		cfg: cfg, decoder: ingest.NewDecoder(cfg.Farm, cfg.Prefix), doubter: ingest.NewDoubter(cfg.Farm),
		arrivals: ingest.NewArrivals(cfg.Farm), state: rules.New(cfg.Farm), stats: Stats{Rejected: map[string]int64{}}, usual: map[string]time.Time{},
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

// wanted tells whether what arrives at t is to be rehearsed.
func (r *Rehearsal) wanted(t time.Time) bool {
	return !t.Before(r.cfg.From) && (r.cfg.To.IsZero() || t.Before(r.cfg.To))
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
		told := r.told(ch)
		if told {
			r.stats.Told++
		}
		r.outcome.Take(ch, told)
		r.cfg.On(ch)
	}
	if hour := e.Arrived.Truncate(time.Hour); hour.After(r.hour) {
		r.hour = hour
		r.outcome.outside(r.state.Look(e.Arrived))
	}
}

// told tells whether a change would be told, or one before it of the same episode by now:
// what comes on its usual day is, once that has passed.
func (r *Rehearsal) told(ch farm.Change) bool {
	until, waits := r.usual[ch.Episode]
	delete(r.usual, ch.Episode)
	if told := r.cfg.Told(ch); !told || ch.RoundsUntil == nil {
		return told || waits && ch.At.After(until)
	}
	r.usual[ch.Episode] = *ch.RoundsUntil
	return false
}

// ahead is how many messages are read ahead at a time.
const ahead = 1024

// heard is a message that is decoded and doubted, and not yet judged.
type heard struct {
	at  time.Time
	got ingest.Decoded
}

// Messages rehearses a CSV recording with the header time,topic,payload: the
// time of arrival in RFC 3339, rows in that order. Errors name the line, after
// all that stands before it has been judged.
//
// Reading, decoding and doubting need nothing that judging finds, so they run
// ahead of it, on another core where there is one.
func (r *Rehearsal) Messages(ctx context.Context, in io.Reader) error {
	rec, err := openRecording(in)
	if err != nil {
		return err
	}
	full, spent := make(chan []heard, 1), make(chan []heard, 3)
	for range cap(spent) {
		spent <- make([]heard, 0, ahead)
	}
	go func() {
		some := <-spent
		err = rec.each(func(at time.Time, topic string, payload []byte) error {
			if r.wanted(at) {
				some = append(some, r.hear(at, topic, payload))
			}
			if len(some) == ahead {
				full <- some
				some = (<-spent)[:0]
			}
			return ctx.Err()
		})
		full <- some
		close(full)
	}()
	for some := range full {
		for i := range some {
			r.follow(&some[i])
		}
		spent <- some
	}
	return err
}

// hear decodes and doubts one message. A recording knows of no broker's backlog,
// only of what came too fast after a silence.
func (r *Rehearsal) hear(at time.Time, topic string, payload []byte) heard {
	h := heard{at, r.decoder.Decode(topic, payload, at)}
	for i := range h.got.Readings {
		one := &h.got.Readings[i]
		r.arrivals.Mark(one, at, 0)
		r.arrivals.Follow(farm.Event{Kind: farm.EventReading, Arrived: at, Reading: *one})
		r.doubter.Judge(one)
	}
	for _, e := range h.got.Commands {
		if e.Kind == farm.EventJot {
			r.doubter.Jotted(e.Jot)
		}
	}
	return h
}

// follow judges what was heard.
func (r *Rehearsal) follow(h *heard) {
	r.note(h.at)
	got := &h.got
	for _, rej := range got.Rejected {
		r.stats.Rejected[string(rej.Reason)]++
	}
	for i := range got.Readings {
		r.step(farm.Event{Kind: farm.EventReading, Arrived: h.at, Reading: got.Readings[i]})
	}
	for _, e := range got.Commands {
		r.step(e)
	}
	if len(got.Commands)+len(got.Readings) == 0 { // time passes all the same
		r.step(farm.Event{Kind: farm.EventTick, Arrived: h.at})
	}
}

// A Journal hands out what happened on a farm, in its order.
type Journal interface {
	Replay(ctx context.Context, after int64, fn func(farm.Event) error) error
}

// Journal rehearses the farm's own past: raw numbers are calibrated and
// doubted anew, jots and hushes happen as they did.
func (r *Rehearsal) Journal(ctx context.Context, j Journal) error {
	scales := ingest.NewCalibrator(r.cfg.Farm)
	return j.Replay(ctx, 0, func(e farm.Event) error {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if !r.wanted(e.Arrived) {
			return nil
		}
		switch e.Kind {
		case farm.EventReading:
			v, ok := scales.Value(e.Reading.Probe, e.Reading.Raw)
			if !ok || e.Elsewhere != nil {
				return nil // this configuration has no such probe, or it stood elsewhere
			}
			r.note(e.Arrived)
			e.Reading.Value, e.Reading.Doubt = v, farm.NoDoubt
			r.doubter.Judge(&e.Reading)
		case farm.EventJot:
			r.doubter.Jotted(e.Jot)
		case farm.EventClock:
			r.doubter.Shift(e.Shift, e.From)
		case farm.EventTick: // made anew
			return nil
		}
		r.step(e)
		return nil
	})
}
