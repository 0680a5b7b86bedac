package rehearse

import (
	"context"
	"errors"
	"io"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// ahead is how many messages are read ahead at a time. After as many a cancelled
// context is noticed.
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
	ended := make(chan error, 1)
	go func() {
		defer close(full)
		ended <- r.hearAll(ctx, rec, full, spent)
	}()
	for some := range full {
		for i := range some {
			r.follow(&some[i])
		}
		spent <- some
	}
	return <-ended
}

// Message takes one message in that arrived at a time not before the last.
func (r *Rehearsal) Message(arrived time.Time, topic string, payload []byte) {
	if r.wanted(arrived) {
		h := r.hear(arrived, topic, payload)
		r.follow(&h)
	}
}

// hearAll hears the whole recording, into slices that are spent.
func (r *Rehearsal) hearAll(ctx context.Context, rec *recording, full chan<- []heard, spent <-chan []heard) error {
	for ctx.Err() == nil {
		some, err := r.hearSome(rec, (<-spent)[:0])
		full <- some
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
	return ctx.Err()
}

func (r *Rehearsal) hearSome(rec *recording, some []heard) ([]heard, error) {
	for range ahead {
		at, topic, payload, err := rec.next()
		if err != nil {
			return some, err
		}
		if r.wanted(at) {
			some = append(some, r.hear(at, topic, payload))
		}
	}
	return some, nil
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
	if h.got.Jot != nil {
		r.doubter.Jotted(*h.got.Jot)
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
	switch {
	case got.Jot != nil:
		r.step(farm.Event{Kind: farm.EventJot, Arrived: h.at, Jot: *got.Jot})
	case got.Hush != nil:
		r.step(farm.Event{Kind: farm.EventHush, Arrived: h.at, Hush: *got.Hush})
	case got.Seen != nil:
		r.step(farm.Event{Kind: farm.EventSeen, Arrived: h.at, Seen: *got.Seen})
	case len(got.Readings) == 0: // time passes all the same
		r.step(farm.Event{Kind: farm.EventTick, Arrived: h.at})
	}
}
