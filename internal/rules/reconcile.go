package rules

import (
	"cmp"
	"fmt"
	"math"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// A configuration that changes while something is raised can end it without
// anything getting better: the bin is called otherwise, its probe is elsewhere,
// or its limits are others. The keeper is told that, and never that all is
// well.

// Reconcile makes what the journal last said the truth about which conditions are
// raised. After a change of configuration or of the program, a replay may
// judge the past otherwise than it was judged then; the keeper was told what
// the journal says, so that is what goes on, and it eases on the ordinary way.
// standing holds the last change of every episode that has not eased. The
// changes that come back end what is about bins, zones or probes that the farm no
// longer has, or no longer watches for it.
func (s *State) Reconcile(standing []farm.Change) []farm.Change {
	told := map[string]farm.Change{}
	for _, ch := range standing {
		told[key(subjectOf(ch), topicOf(ch))] = ch
	}
	for _, r := range s.records() {
		k := key(r.who, r.what)
		ch, ok := told[k]
		if ok && s.unwatchedFor(r.who, r.what) != "" {
			r.restore(record{})
			continue
		}
		delete(told, k)
		switch {
		case ok && (r.Episode != ch.Episode || r.Urgency != ch.Urgency):
			judged := r.raised()
			r.goOn(ch)
			for _, k := range s.Knowings {
				if k.Episode == ch.Episode {
					r.know(k)
				}
			}
			if !judged {
				r.mark() // by today's limits nothing was wrong
			}
		case !ok && r.raised():
			r.restore(record{})
		}
	}
	for _, r := range s.records() {
		if r.row.Band {
			r.breach().settle(r.Urgency)
		}
	}
	s.markRelimited()
	return s.gone(standing, told)
}

func subjectOf(ch farm.Change) subject { return subject{ch.Bin, ch.Zone, ch.Probe} }
func topicOf(ch farm.Change) topic     { return topic{ch.Condition, ch.Quantity} }

// key names a condition of a subject. A probe is the same one wherever it sits.
func key(who subject, what topic) string {
	if who.Probe != "" {
		who.Bin, who.Zone = "", ""
	}
	return who.Bin + "\x00" + who.Zone + "\x00" + who.Probe + "\x00" + string(what.condition) + "\x00" + string(what.quantity)
}

// renamedKey is a key whose subject is called otherwise.
func renamedKey(k string, whose func(subject) subject) string {
	parts := strings.Split(k, "\x00")
	return key(whose(subject{parts[0], parts[1], parts[2]}), topic{farm.Condition(parts[3]), farm.Quantity(parts[4])})
}

// goOn takes up the episode that the keeper was told of.
func (r *record) goOn(ch farm.Change) {
	r.restore(record{
		Urgency: ch.Urgency, Episode: ch.Episode, Since: ch.Since,
		Said: saying{Text: ch.Text, Forecast: ch.Forecast, Advice: ch.Advice, Cautions: ch.Cautions},
	})
}

// gone ends what nobody watches any more.
func (s *State) gone(standing []farm.Change, left map[string]farm.Change) []farm.Change {
	var out []farm.Change
	for _, ch := range standing {
		who, what := subjectOf(ch), topicOf(ch)
		if _, ok := left[key(who, what)]; !ok {
			continue
		}
		if who == (subject{}) {
			continue // of the machinery of a later version
		}
		ch.At, ch.Change, ch.Again, ch.Ended = s.Now, farm.Eased, false, farm.Unwatched
		ch.Brief, ch.Text = "", s.sayUnwatched(who, what)
		ch.Forecast, ch.Advice, ch.Cautions = nil, nil, nil
		out = append(out, ch)
	}
	return out
}

// unwatchedFor tells why a condition can arise no more where the farm still has
// its place; "" when it can.
func (s *State) unwatchedFor(who subject, what topic) string {
	if since := retiredSince(s.zoneOf(who), s.byID[who.Probe], s.Now); !since.IsZero() {
		return s.sayRetired(who, since)
	}
	if who.Probe != "" {
		if p := s.byID[who.Probe]; what.condition == farm.BatteryLow && p != nil && (p.spec.Measures != farm.Battery || p.spec.Low == 0) {
			return "it has no limit for a battery any more"
		}
		return ""
	}
	z, q := s.zoneOf(who), cmp.Or(what.quantity, what.condition.Quantity())
	if z == nil {
		return ""
	}
	m := z.of(q)
	switch {
	case !what.condition.Arises(z.spec.Aim):
		return fmt.Sprintf("its aim is %s now", z.spec.Aim)
	case q != "" && (m == nil || len(m.probes) == 0):
		return fmt.Sprintf("no probe measures %s there now", q.Row().Noun)
	case what.condition == farm.PastLimit && m.unlimited():
		return fmt.Sprintf("it has no limits for its %s any more", m.Noun)
	}
	return ""
}

func (s *State) zoneOf(who subject) *zone {
	return first(s.zones, func(z *zone) bool { return z.who == who })
}

// sayUnwatched says that nobody looks any more, and why.
func (s *State) sayUnwatched(who subject, what topic) string {
	if since := retiredSince(s.zoneOf(who), s.byID[who.Probe], s.Now); !since.IsZero() {
		return s.sayRetired(who, since)
	}
	has := s.zoneOf(who) != nil
	if who.Probe != "" {
		has = s.byID[who.Probe] != nil
	}
	if why := s.unwatchedFor(who, what); why != "" && has {
		return fmt.Sprintf("%s is not watched for this any more (%s): %s. How it is there is not known.", s.place(who), what.condition, why)
	}
	name := s.place(who)
	if who.Probe == "" && who.Bin != "" {
		_, ok := s.farm.BinByName(who.Bin)
		name = farm.SayPlace(who.Bin, who.Zone, !ok)
	}
	return name + " is no longer in the configuration; what was told of it is not watched any more."
}

// sayRetired says that what is out of use is not looked at.
func (s *State) sayRetired(who subject, since time.Time) string {
	return fmt.Sprintf("%s was retired on %s and is no longer watched. How it is there is not known.", s.place(who), s.farm.Dates().Date(since))
}

// markRelimited remembers the levels at which other limits came into force
// under what is raised, where they see nothing wrong in that level.
func (s *State) markRelimited() {
	for _, z := range s.zones {
		was := z.LimitsName
		if z.LimitsName = z.limitsName(); was == 0 || was == z.LimitsName {
			continue
		}
		for _, r := range z.records {
			if r.raised() {
				r.mark()
			}
		}
	}
}

// mark remembers the level that a condition goes by as one that is well by the limits
// now in force, if it is. A forecast or a window has no limits of its own.
func (r *record) mark() {
	b := r.breach()
	if r.measured != nil && !b.At.IsZero() && (!r.row.Band || b.found(b.edge) == farm.Calm) {
		r.Relimited, r.HasRelimited = b.Value, true
	}
}

// relimited gives an easing other words when it is the limits that have
// changed: the level is where it was when they came into force.
func (s *State) relimited(r *record, ch *farm.Change) {
	if !r.HasRelimited {
		return
	}
	b := r.breach()
	if ch.Change == farm.Eased && math.Abs(b.Value-r.Relimited) <= b.margin {
		ch.Ended = farm.Relimited
		ch.Text = fmt.Sprintf("%s is not %s by the limits now in force: %s.", s.place(r.who), r.row.Found, s.levelOf(b))
		if r.what.quantity != "" {
			ch.Text = fmt.Sprintf("%s: its %s is not past the limits now in force: %s.", s.place(r.who), b.Noun, s.levelOf(b))
		}
		r.Said.Text = ch.Text
	}
	r.HasRelimited = ch.Change == farm.Lightened
}

// shift moves the times the state remembers from a moment on: the clock was put
// right. What was noted before, on a clock that was right, stays.
func (s *State) shift(d time.Duration, from time.Time) {
	move := func(times ...*time.Time) {
		for _, t := range times {
			if !t.IsZero() && !t.Before(from) {
				*t = t.Add(d)
			}
		}
	}
	move(&s.Now, &s.Minute, &s.Since)
	s.Minute = s.Minute.Truncate(time.Minute)
	for i := range s.Hushes {
		move(&s.Hushes[i].Until, &s.Hushes[i].Set)
	}
	for i := range s.Knowings {
		move(&s.Knowings[i].At, &s.Knowings[i].Until)
	}
	for _, p := range s.probes {
		move(&p.Newest.At, &p.Arrived, &p.Good.At, &p.GoodAt, &p.Bad.At, &p.Harm, &p.Felt.At, &p.Heard, &p.Said, &p.Gone)
		for i := range p.Drops {
			move(&p.Drops[i])
		}
		p.Pace.Shift(d.Milliseconds(), from.UnixMilli())
		for i, ms := range p.Level.At {
			if ms >= from.UnixMilli() {
				p.Level.At[i] += d.Milliseconds()
			}
		}
		shiftTrack(&p.Track, d)
	}
	for _, z := range s.zones {
		move(&z.Hold)
		for _, m := range z.measured {
			move(&m.At, &m.Arrived)
			m.day.shift(move)
			m.settling.shift(move)
			m.above.shift(move)
			m.below.shift(move)
		}
		z.Husbandry.shift(move)
		z.Husbandry.Past.shift(d, from)
		shiftTrack(&z.Husbandry.Moist, d)
	}
	for _, r := range s.records() {
		move(&r.Since, &r.EasedAt, &r.NowSince, &r.Knows.At, &r.Knows.Until)
	}
}
