package rules

import (
	"fmt"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// A probe whose radio or battery is weak falls silent and speaks again, night after
// night. That is one thing to look at, not a notice each time. Choices, no source.
const (
	dropsMany = 4                   // so often it drops out again and again,
	dropsIn   = 21 * 24 * time.Hour // in so long;
	dropsOver = 7 * 24 * time.Hour  // and that is over once it has not for so long
	dropsKept = 32
)

// dropOut notes that a probe has fallen silent, once each time; not where that is the
// broker's fault, or its own pace.
func (s *State) dropOut(p *probe, at time.Time) {
	if p.Away {
		return
	}
	p.Away = true
	switch {
	case p.slow():
		p.Drops = nil
		return
	case !p.Spoke, !s.Linked, s.noneSpeaks(at):
		return
	}
	p.Drops = slices.DeleteFunc(append(p.Drops, at), func(t time.Time) bool { return at.Sub(t) > dropsIn })
	p.Drops = slices.Delete(p.Drops, 0, max(0, len(p.Drops)-dropsKept))
}

// dropping tells whether a probe drops out again and again.
func (p *probe) dropping(at time.Time) bool {
	n := len(p.Drops)
	return n >= dropsMany && at.Sub(p.Drops[n-1]) < dropsOver
}

// mates are the other probes that drop out together with one, time and again: they
// hang on one device.
func (s *State) mates(p *probe) (all []*probe) {
	for _, o := range s.probes {
		if o != p && p.with(o) && o.with(p) {
			all = append(all, o)
		}
	}
	return all
}

// with tells whether a probe has dropped out together with another nearly always.
func (p *probe) with(o *probe) bool {
	n := 0
	for _, t := range p.Drops {
		if slices.ContainsFunc(o.Drops, func(u time.Time) bool { return t.Sub(u).Abs() <= p.spec.Every }) {
			n++
		}
	}
	return n >= dropsMany && 4*n >= 3*len(p.Drops)
}

// spokenFor tells whether the silence of a probe is that of its device, of which
// another probe tells already, and which is away or has only just come back.
func (s *State) spokenFor(p *probe, at time.Time) bool {
	return !p.silent.raised() && slices.ContainsFunc(s.mates(p), func(o *probe) bool {
		return o.silent.raised() && o.dropping(at) && (o.Away || at.Sub(o.Back) <= silentAfter*p.spec.Every)
	})
}

// sayDropping is about a probe that drops out again and again.
func (s *State) sayDropping(p *probe, m time.Time) saying {
	night, now := 0, "It speaks at present."
	for _, t := range p.Drops {
		if h := t.In(s.farm.Location).Hour(); h < 8 || h >= 20 {
			night++
		}
	}
	when := ""
	switch n := len(p.Drops); {
	case 3*night >= 2*n:
		when = ", mostly at night"
	case 3*night <= n:
		when = ", mostly by day"
	}
	if p.Away {
		now = fmt.Sprintf("It has said nothing for %s.", pace(m.Sub(p.Said)))
	}
	who := s.named(p) + " drops out again and again"
	if mates := s.mates(p); len(mates) > 0 {
		ids := []string{p.spec.ID}
		for _, o := range mates {
			ids = append(ids, o.spec.ID)
		}
		who, now = "Probes "+farm.SayList(ids)+" drop out together again and again", "They hang on one device. "+now
	}
	return saying{
		Text: fmt.Sprintf("%s: %s%s. %s", who, s.timesSince(len(p.Drops), p.Drops[0], m), when, now),
		Advice: &farm.Advice{
			Do: "Look at its battery, which the cold weakens, at its cable, and at how far its radio has to reach. This is over once it has not dropped out for a week.",
		},
	}
}
