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
func (s *State) words(who subject, c farm.Condition, r *record, at time.Time) saying {
	var say saying
	var ok bool
	if who.Probe != "" {
		say, ok = s.probeWords(s.byID[who.Probe], c, at)
	} else if z := s.zoneOf(who); z != nil {
		say, ok = s.zoneWords(z, c, r, at)
	}
	if !ok {
		return saying{text: r.Text, forecast: r.Forecast, advice: r.Advice, cautions: r.Cautions}
	}
	return say
}

// zoneWords are the words of a zone's condition; ok is false when what they
// are made of is not known, as after a change of configuration.
func (s *State) zoneWords(z *zone, c farm.Condition, r *record, at time.Time) (say saying, ok bool) {
	switch c {
	case farm.FeedDue:
		return s.sayFeed(z, at), z.Husbandry.Fed
	case farm.Hatching:
		due := s.hatches(z, at)
		if len(due) == 0 {
			return saying{}, false
		}
		return s.sayHatching(z, due, at), true
	}
	if z.judgedBy(c).At.IsZero() {
		return saying{}, false
	}
	switch c {
	case farm.TooHot, farm.TooCold, farm.TooDry, farm.TooWet:
		say = s.bandWords(z, c, r.Urgency, at)
	case farm.Heating:
		say = s.sayHeating(z, at)
	case farm.Drying:
		say = s.sayDrying(z, at)
	case farm.SiftReady, farm.SiftPassing:
		if say = s.saySift(z, c, at); !z.ofNow(c, at) {
			say.advice = lookFirst(say.advice)
		}
		return say, true
	default:
		return saying{}, false
	}
	switch {
	case z.holding(at):
		lid := s.sayLidOff(z, c)
		if say.advice != nil && say.advice.Wait != nil {
			lid.advice = say.advice // what was done is known
		}
		return lid, true
	case !z.ofNow(c, at):
		say.advice = lookFirst(say.advice)
	}
	return say, true
}

// fresh tells whether the level that a condition goes by is known at m.
func (z *zone) fresh(c farm.Condition, m time.Time) bool { return anyFresh(z.probesFor(c), m) }

// probesFor are the probes whose level a condition goes by.
func (z *zone) probesFor(c farm.Condition) []*probe {
	if ofHeat(c) {
		return z.temps
	}
	return z.moists
}

// ofNow tells whether the level that a condition goes by speaks of m: what a
// gateway hands over hours late, with its own times, is fresh news of old days.
func (z *zone) ofNow(c farm.Condition, m time.Time) bool {
	return slices.ContainsFunc(z.probesFor(c), func(p *probe) bool {
		return p.fresh(m) && m.Sub(p.Good.At) <= max(time.Hour, silentAfter*p.spec.Every)
	})
}

// whereItStands is the first sentence of a band condition: how bad it is now,
// or was when the zone was last heard, or that it is nearly over.
func (s *State) whereItStands(z *zone, c farm.Condition, u farm.Urgency, at time.Time) string {
	place, level := s.place(z.who), s.levelOf(z, c)
	l, e := z.judgedBy(c), z.edgeOf(c)
	worst := l.worst(e.up).Value
	switch {
	case !z.ofNow(c, at):
		return fmt.Sprintf("%s was %s when last heard, %s ago: %s.", place, adjective[c], farm.SayLong(at.Sub(l.At)), level)
	case !e.past(u, worst) && s.sayMissed(z, c, u) != "":
		return fmt.Sprintf("%s is %s %s.", place, adjective[c], s.sayMissed(z, c, u))
	case !z.pastAny(c):
		return fmt.Sprintf("%s is only just no longer %s, at %s; it counts as over from %s on.", place, adjective[c], level,
			s.measure(c, e.backFrom(z.marginOf(c))))
	case u == farm.Now && e.past(u, worst) && !e.past(u, l.Value) && l.High.Value-l.Low.Value > z.marginOf(c):
		return fmt.Sprintf("%s is %s in one place: %s.", place, adjective[c], s.ends(z, c))
	case u == farm.Now && e.past(u, worst) && !e.past(u, l.Value):
		return fmt.Sprintf("%s is %s at %s.", place, adjective[c], s.value(z, c, worst))
	}
	return fmt.Sprintf("%s is %s at %s.", place, adjective[c], level)
}

// sayLidOff speaks of a condition while the lid is off: what the probes say
// then is no news of it, and what to do was said before.
func (s *State) sayLidOff(z *zone, c farm.Condition) saying {
	was := adjective[c]
	switch c {
	case farm.Heating:
		was = "heating by itself"
	case farm.Drying:
		was = "drying"
	}
	return saying{
		text:   fmt.Sprintf("%s was %s before it was opened; it is judged again from %s on.", s.place(z.who), was, z.Hold.In(s.farm.Location).Format("15:04")),
		advice: &farm.Advice{First: true, Do: "Look again when it has been closed for a while."},
	}
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
	say := s.sayingSuspect(p, &p.Bad)(farm.Raised)
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
		return s.sayingSilent(p, at)(farm.Raised), true
	case c == farm.Suspect && !p.Newest.Believed():
		return s.sayingSuspect(p, &p.Newest)(farm.Raised), true
	case c == farm.Suspect && !p.Bad.At.IsZero():
		return s.sayMending(p, at), true
	case c == farm.BatteryLow && !p.GoodAt.IsZero():
		return sayingBattery(p)(farm.Raised), true
	}
	return saying{}, false
}
