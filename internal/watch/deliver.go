package watch

import (
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// delivery takes one message in. It is acknowledged with its batch, also when
// it holds nothing of use: a message that is never acknowledged comes for ever.
func (l *Loop) delivery(d *ingest.Delivery) {
	l.batch.unacked = append(l.batch.unacked, d)
	// A broker that leaves few messages unacknowledged hands its backlog over in
	// as many steps, each as long as a commit waits.
	l.batch.hurry = l.batch.hurry || d.Hurry || l.arrivals.Waiting()
	if d.Caught || l.arrivals.Through(l.now()) {
		l.caught()
	}
	if d.Own {
		return
	}
	if l.repeats.is(d) {
		l.counts.messages[messageRepeated]++
	} else {
		l.decode(d)
	}
	d.Payload = nil // it may be large, and hundreds wait for the commit
}

func (l *Loop) decode(d *ingest.Delivery) {
	got := l.decoder.Decode(d.Topic, d.Payload, l.now())
	for _, r := range got.Rejected {
		l.counts.reject(r)
		l.cfg.Log.Debug("message rejected", "topic", d.Topic, "probe", r.Probe, "reason", r.Reason, "detail", r.Detail)
	}
	if len(got.Rejected) == 0 {
		l.counts.messages[messageTaken]++
	}
	for i := range got.Readings {
		l.reading(d, got.Readings[i])
	}
	e := got.Command
	if e == nil || d.Retained { // an old wish is no wish
		return
	}
	e.Arrived = l.now()
	switch unsure := l.unsure(d, got); {
	case e.Kind == farm.EventJot:
		e.Jot.Uncertain = unsure
		l.doubter.Jotted(e.Jot)
	case e.Kind == farm.EventHush && unsure:
		l.fromThen(&e.Hush)
	}
	l.take(*e, d)
}

// reading has one reading doubted and judged. What the broker had stored is
// old news: it is shown where nothing else is known, and never kept twice.
func (l *Loop) reading(d *ingest.Delivery, r farm.Reading) {
	r.Retained = d.Retained
	if r.Retained && l.state.Knows(r.Probe) {
		return
	}
	if l.stamps.know(r) {
		l.counts.outcome(r.Probe, farm.OutcomeRepeated)
		return
	}
	l.spread(&r)
	l.arrivals.Mark(&r, l.now(), l.held(d))
	l.doubter.Judge(&r)
	if !r.Retained {
		l.counts.outcome(r.Probe, outcome(r, l.state.Late(r)))
	}
	l.take(farm.Event{Kind: farm.EventReading, Arrived: l.now(), Reading: r}, d)
	l.logPace(r.Probe)
}

// logPace says once that a probe speaks at another pace than the keeper has said.
func (l *Loop) logPace(probe string) {
	if l.paced[probe] {
		return
	}
	own, every := l.arrivals.Pace(probe)
	if own != 0 && (own > 2*every || 2*own < every) {
		l.paced[probe] = true
		l.cfg.Log.Info("probe speaks at another pace than its every says; it is judged all the same", "probe", probe, "speaks_every", own.Round(time.Second), "every", every)
	}
}

// unsure tells whether a jot or hush says no time of its own and has waited.
func (l *Loop) unsure(d *ingest.Delivery, got ingest.Decoded) bool {
	return !got.Timed && l.arrivals.Unsure(l.now(), l.held(d))
}

// fromThen counts a hush that has waited from the earliest time at which it can
// have been said: nobody wants yesterday's two hours of quiet to begin now, and to
// be told once too often does less harm.
func (l *Loop) fromThen(h *farm.Hush) {
	long := h.Until.Sub(l.now())
	if h.Until = l.arrivals.Earliest().Add(long); !h.Until.After(l.now()) {
		h.Until = l.now() // over: it ends one like it that is still on
		l.cfg.Log.Warn("a hush waited until it was over; give it a time of its own (at) where it may wait", "bin", h.Bin, "zone", h.Zone, "for", long)
	}
}

// held is how long a message has waited since it came: while the journal can't
// be written, nothing is taken in.
func (l *Loop) held(d *ingest.Delivery) time.Duration {
	if d.Arrived.IsZero() {
		return 0
	}
	return l.cfg.Now().Sub(d.Arrived)
}

// spread keeps readings without a time stamp of one probe a millisecond apart:
// a database takes two of one time for the same.
func (l *Loop) spread(r *farm.Reading) {
	if r.Stamped {
		return
	}
	if last := l.newest[r.Probe]; !r.At.After(last) && last.Sub(r.At) < time.Second {
		r.At = last.Add(time.Millisecond)
	}
	l.newest[r.Probe] = r.At
}
