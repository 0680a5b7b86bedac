package ingest

import (
	"time"

	"binwatchd/internal/farm"
)

// burstGap is how long after a connection, or after the last reading of a
// backlog, another reading still belongs to that backlog.
const burstGap = 5 * time.Second

// Arrivals tells which readings have no true time. What a broker or a probe
// kept over an outage comes all at once, and without the device's own time
// stamp nobody knows when each was taken.
//
// After a connect, an unstamped reading is time uncertain when it comes sooner
// than half its probe's interval after the one before it, until the probe has
// once kept its interval. The first one of a probe has nothing before it: it
// is uncertain when the broker kept our session and it comes with the burst.
// That costs an honest reading now and then; the next one is in order.
type Arrivals struct {
	every  map[string]time.Duration
	since  map[string]arrival
	linked bool      // a connect has been told
	burst  time.Time // when the backlog was last at work; zero when none is expected
}

// An arrival is what is known of one probe since the connect.
type arrival struct {
	last  time.Time // of its newest unstamped reading
	heard bool
	keeps bool // it has kept its interval
}

// NewArrivals knows the intervals of the probes of f.
func NewArrivals(f *farm.Farm) *Arrivals {
	a := &Arrivals{every: make(map[string]time.Duration, len(f.Probes)), since: map[string]arrival{}}
	for _, p := range f.Probes {
		a.every[p.ID] = p.Every
	}
	return a
}

// Linked says that the broker was reached, and whether it kept our session.
func (a *Arrivals) Linked(at time.Time, resumed bool) {
	clear(a.since)
	a.linked = true
	a.burst = time.Time{}
	if resumed {
		a.burst = at
	}
}

// Mark sets Uncertain. Readings are to be given in the order of arrival; for
// an unstamped one, At is its arrival. A stored value without a time stamp may
// be of any age and is always uncertain.
func (a *Arrivals) Mark(r *farm.Reading) {
	switch {
	case r.Stamped:
		return
	case r.Retained:
		r.Uncertain = true
		return
	}
	every, known := a.every[r.Probe]
	if !known || !a.linked {
		return
	}
	s := a.since[r.Probe]
	switch {
	case s.keeps:
	case !s.heard:
		r.Uncertain = !a.burst.IsZero() && r.At.Sub(a.burst) <= burstGap
	case r.At.Sub(s.last) < every/2:
		r.Uncertain = true
		a.burst = r.At
	default:
		s.keeps = true
	}
	s.last, s.heard = r.At, true
	a.since[r.Probe] = s
}
