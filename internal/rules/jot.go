package rules

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// jot takes a line of the logbook in: judging holds still while the lid is
// off, curves start afresh where the bin has been changed, and the books of
// food, water and castings are kept.
func (s *State) jot(j farm.Jot) {
	for _, z := range s.zones {
		if z.who.Bin == j.Bin {
			z.Husbandry.visited(j.At)
		}
	}
	for _, z := range s.meant(j) {
		if !j.Uncertain { // else the lid is long on again, for all that is known
			z.hold(j, s.Now)
		}
		if !j.Uncertain && j.What.Done() && j.What != farm.Finished && s.Now.Sub(j.At) < settlesIn {
			z.moist.disturb(j.At)
		}
		z.afresh(j, s.Now)
		if slices.Contains(heatLater, j.What) {
			for _, p := range z.temp.probes {
				p.Track.Fed(j.At)
			}
		}
		s.book(z, j)
	}
}

// meant lists the zones a jot speaks of: the one it names, else the bin's
// living zones (what is sifted comes out of the sifting ones, of those that are
// fit for it where some are), else all of them (a tub has no living zone).
func (s *State) meant(j farm.Jot) []*zone {
	all := those(s.zones, func(z *zone) bool { return z.who.Bin == j.Bin && (j.Zone == "" || z.who.Zone == j.Zone) })
	meant := those(all, func(z *zone) bool { return z.spec.Aim == farm.Living })
	if sifting := those(all, func(z *zone) bool { return z.spec.Aim == farm.Sifting }); j.What == farm.Sifted && len(sifting) > 0 {
		meant = sifting
		if fit := those(sifting, func(z *zone) bool { return z.Husbandry.Sift.open() }); len(fit) > 0 {
			meant = fit
		}
	}
	if j.Zone != "" || len(meant) == 0 {
		return all
	}
	return meant
}

// those lists the zones that fit.
func those(zones []*zone, fits func(*zone) bool) []*zone {
	return slices.DeleteFunc(slices.Clone(zones), func(z *zone) bool { return !fits(z) })
}

// hold stops the clocks and judging while the lid is off.
func (z *zone) hold(j farm.Jot, now time.Time) {
	until := j.At.Add(lidOff)
	if j.What == farm.Finished || !j.What.Done() || !until.After(now) {
		return // looking into a bin needs no hold, and what is long over neither
	}
	z.Hold = later(z.Hold, until)
	for _, m := range z.measured {
		m.stop()
	}
}

// heatLater are jots of what may heat by itself from then on: food, bedding, or
// air let into either.
var heatLater = []farm.JotKind{farm.Fed, farm.Bedded, farm.Turned}

// afresh empties the running medians and the curves of what a jot makes a step
// in. A probe that was away then is missed no longer: the keeper has been there.
func (z *zone) afresh(j farm.Jot, now time.Time) {
	for _, m := range z.measured {
		if !slices.Contains(m.ResetBy, j.What) {
			continue
		}
		for _, p := range m.probes {
			if now.Sub(j.At) < p.Level.Span { // else it holds nothing of the time before
				p.Level.Clear()
			}
			p.HasApart = p.HasApart && p.fresh(j.At)
			if m == z.temp {
				p.Track.Restart(j.At)
			}
		}
		if m == z.moist {
			z.Husbandry.Moist.Restart(j.At)
		}
	}
}

// A hushed is a hush and when it was wished for.
type hushed struct {
	farm.Hush
	Set time.Time
}

// hush keeps quiet about a bin, zone, condition or quantity; a new one replaces an old
// one about the same.
func (s *State) hush(h farm.Hush) {
	s.Hushes = slices.DeleteFunc(s.Hushes, func(o hushed) bool {
		return o.Bin == h.Bin && o.Zone == h.Zone && o.Condition == h.Condition && o.Quantity == h.Quantity
	})
	if h.Until.After(s.Now) {
		s.Hushes = append(s.Hushes, hushed{h, s.Now})
	}
}

// hushedUntil gives the time until which a subject's condition is kept quiet;
// zero when it is not. What has become urgent since the hush was wished for
// breaks it.
func (s *State) hushedUntil(r *record) time.Time {
	var until time.Time
	for _, h := range s.Hushes {
		meant := h.Covers(r.who.Bin, r.who.Zone, r.what.condition, r.what.quantity)
		broken := r.Urgency == farm.Now && r.NowSince.After(h.Set)
		if meant && !broken {
			until = later(until, h.Until)
		}
	}
	return until
}

// A knowing is who knows of an episode or has taken it on, and when that was said.
type knowing struct {
	farm.Seen
	At time.Time
}

// seen notes that somebody knows of an episode, or takes it on.
func (s *State) seen(n farm.Seen) {
	const remembered = 64
	k := knowing{n, s.Now}
	s.Knowings = append(s.Knowings, k)
	s.Knowings = slices.Delete(s.Knowings, 0, max(0, len(s.Knowings)-remembered))
	for _, r := range s.records() {
		if r.Episode == n.Episode && r.raised() {
			r.know(k)
		}
	}
}

// know notes who knows of what is raised: whoever takes it on in place of those who know of it,
// and else the first.
func (r *record) know(k knowing) {
	if k.Until.IsZero() && r.known(k.At) {
		return
	}
	r.Seen, r.Knows = true, k
}

// known tells whether somebody knows of what is raised. Who has taken it on answers for it until
// then, and for what it was when they did: not once it is more urgent, at now.
func (r *record) known(at time.Time) bool {
	k := r.Knows
	worse := r.Urgency == farm.Now && r.NowSince.After(k.At)
	return r.Seen && (k.Until.IsZero() || at.Before(k.Until) && !worse)
}

// showKnown says who knows of what is raised.
func (s *State) showKnown(r *record, at time.Time, st *farm.Standing) {
	k, dates := r.Knows, s.farm.Dates()
	who := s.farm.SayPerson(k.By)
	if st.Seen = r.known(at); !r.Seen || who == "" {
		return
	}
	st.KnownBy, st.KnownAt = k.By, &k.At
	switch {
	case k.Until.IsZero():
		st.Known = who + " knows, " + dates.Clock(k.At, at)
		return
	case k.Until.After(at):
		st.Known = who + " looks after it until " + dates.Clock(k.Until, at)
	default:
		st.Known = who + " looked after it until " + dates.Clock(k.Until, at)
	}
	st.Taken = &k.Until
}

// records are those of every condition, in a fixed order.
func (s *State) records() []*record {
	var all []*record
	for _, z := range s.zones {
		all = append(all, z.records...)
	}
	for _, p := range s.probes {
		all = append(all, p.records()...)
	}
	return append(all, s.own...)
}
