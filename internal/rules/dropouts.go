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
	return saying{
		Text: fmt.Sprintf("%s drops out again and again: %s%s. %s", s.named(p), s.timesSince(len(p.Drops), p.Drops[0], m), when, now),
		Advice: &farm.Advice{
			Do: "Look at its battery, which the cold weakens, at its cable, and at how far its radio has to reach. This is over once it has not dropped out for a week.",
		},
	}
}
