package rules

import (
	"fmt"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// The words of what is raised are made when somebody looks, from the levels,
// the fits and the books of that moment: a sentence that was remembered would
// soon stand beside a number it does not agree with. A record keeps the words
// of its last change for the one case in which no others can be made.

// words of a raised condition as of arrival time at.
func (s *State) words(r *record, at time.Time) saying {
	var say saying
	var ok bool
	if r.who.Probe != "" {
		say, ok = s.probeWords(s.byID[r.who.Probe], r.what.condition, at)
	} else if z := s.zoneOf(r.who); z != nil {
		say, ok = s.zoneWords(z, r, at)
	}
	if !ok {
		return saying{text: r.Text, forecast: r.Forecast, advice: r.Advice, cautions: r.Cautions}
	}
	return say
}

// zoneWords are the words of a zone's condition; ok is false when what they
// are made of is not known, as after a change of configuration.
func (s *State) zoneWords(z *zone, r *record, at time.Time) (say saying, ok bool) {
	switch r.what.condition {
	case farm.FeedDue:
		return s.sayFeed(z, at), z.Husbandry.Fed
	case farm.Hatching:
		due := s.hatches(z, at)
		if len(due) == 0 {
			return saying{}, false
		}
		return s.sayHatching(z, due, at), true
	}
	b, ok := z.breach(r)
	if !ok || b.At.IsZero() {
		return saying{}, false
	}
	sifts := false
	switch r.what.condition {
	case farm.Heating:
		say = s.sayHeating(z, at)
	case farm.Drying:
		say = s.sayDrying(z, at)
	case farm.SiftReady, farm.SiftPassing:
		say, sifts = s.saySift(b, at), true
	default:
		say = s.bandWords(b, r.Urgency, at)
	}
	switch {
	case z.holding(at) && !sifts:
		lid := s.sayLidOff(b)
		if say.advice != nil && say.advice.Wait != nil {
			lid.advice = say.advice // what was done is known
		}
		return lid, true
	case !b.ofNow(at):
		say.advice = lookFirst(say.advice)
	}
	return say, true
}

// ofNow tells whether a level speaks of arrival time at: what a gateway hands over
// hours late, with its own times, is fresh news of old days.
func (m *measured) ofNow(at time.Time) bool {
	return slices.ContainsFunc(m.probes, func(p *probe) bool {
		return p.fresh(at) && at.Sub(p.Good.At) <= max(time.Hour, silentAfter*p.spec.Every)
	})
}

// sayLidOff speaks of a condition while the lid is off: what the probes say
// then is no news of it, and what to do was said before.
func (s *State) sayLidOff(b breach) saying {
	return saying{
		text: fmt.Sprintf("%s %s before it was opened; it is judged again from %s on.", s.place(b.zone.who), b.was(),
			b.zone.Hold.In(s.farm.Location).Format("15:04")),
		advice: &farm.Advice{First: true, Do: "Look again when it has been closed for a while."},
	}
}

// was fits after a zone's name: "was too hot", "had its CO2 past its limit".
func (b breach) was() string {
	was := b.rec.row.Was
	if b.rec.what.quantity != "" {
		return "had its " + b.Noun + " " + was
	}
	return "was " + was
}

// lookFirst is advice that rests on readings of some time ago.
func lookFirst(a *farm.Advice) *farm.Advice {
	out := farm.Advice{}
	if a != nil {
		out = *a
	}
	out.Do = "See how it is first, for the newest reading is old. " + out.Do
	return &out
}

// sayMending speaks of a probe that is believed again, and not for long enough
// yet to be trusted as before.
func (s *State) sayMending(p *probe, at time.Time) saying {
	say := s.saySuspect(p, &p.Bad)
	said := ""
	if v := s.number(p, p.Bad.Value); v != "" {
		said = " (it said " + v + ")"
	}
	say.text = fmt.Sprintf("%s was not believed %s ago: %s%s. What it says now is believed; this is over when that lasts.",
		s.named(p), farm.SayLong(at.Sub(p.Bad.At)), p.Bad.Doubt, said)
	return say
}

// probeWords are the words of a probe's condition.
func (s *State) probeWords(p *probe, c farm.Condition, at time.Time) (say saying, ok bool) {
	switch {
	case p == nil:
		return saying{}, false
	case c == farm.Silent:
		return s.saySilent(p, at), true
	case c == farm.Suspect && !p.Newest.Believed():
		return s.saySuspect(p, &p.Newest), true
	case c == farm.Suspect && !p.Bad.At.IsZero():
		return s.sayMending(p, at), true
	case c == farm.BatteryLow && !p.GoodAt.IsZero():
		return s.sayBattery(p), true
	}
	return saying{}, false
}
