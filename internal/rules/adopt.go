package rules

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// Adopt makes what the journal last said the truth about which conditions are
// raised. After a change of configuration or of the program, a replay may
// judge the past otherwise than it was judged then; the keeper was told what
// the journal says, so that is what goes on, and it eases on the ordinary way.
// standing holds the last change of every episode that has not eased. The
// changes that come back end what is about bins, zones or probes that the farm no longer has, or
// no longer watches for it.
func (s *State) Adopt(standing []farm.Change) []farm.Change {
	told := map[string]farm.Change{}
	for _, ch := range standing {
		told[key(subject{ch.Bin, ch.Zone, ch.Probe}, ch.Condition)] = ch
	}
	s.eachRecord(func(who subject, c farm.Condition, r *record) {
		k := key(who, c)
		ch, ok := told[k]
		if ok && s.unwatchedFor(who, c) != "" {
			*r = record{}
			return
		}
		delete(told, k)
		switch {
		case ok && (r.Episode != ch.Episode || r.Urgency != ch.Urgency):
			judged := r.raised()
			r.adopt(ch, slices.Contains(s.known, ch.Episode))
			if z := s.zoneOf(who); z != nil && !judged {
				z.mark(c) // by today's limits nothing was wrong
			}
		case !ok && r.raised():
			*r = record{}
		}
	})
	s.settleLadders()
	s.markRelimited()
	return s.gone(standing, told)
}

// key names a condition of a subject. A probe is the same one wherever it sits.
func key(who subject, c farm.Condition) string {
	if who.Probe != "" {
		who.Bin, who.Zone = "", ""
	}
	return who.Bin + "\x00" + who.Zone + "\x00" + who.Probe + "\x00" + string(c)
}

func (r *record) adopt(ch farm.Change, seen bool) {
	*r = record{
		Urgency: ch.Urgency, Episode: ch.Episode, Since: ch.Since, Seen: seen,
		Text: ch.Text, Forecast: ch.Forecast, Advice: ch.Advice, Cautions: ch.Cautions,
	}
}

// settleLadders turns the rungs to what the records say, so that a band
// condition eases by its own clocks.
func (s *State) settleLadders() {
	for _, z := range s.zones {
		for c, l := range map[farm.Condition]*ladder{farm.TooHot: &z.Hot, farm.TooCold: &z.Cold, farm.TooDry: &z.Dry, farm.TooWet: &z.Wet} {
			l.settle(z.record(c).Urgency)
		}
	}
}

// gone ends what nobody watches any more.
func (s *State) gone(standing []farm.Change, left map[string]farm.Change) []farm.Change {
	var out []farm.Change
	for _, ch := range standing {
		who := subject{ch.Bin, ch.Zone, ch.Probe}
		if _, ok := left[key(who, ch.Condition)]; !ok {
			continue
		}
		if r := s.own[ch.Condition]; who == (subject{}) && r == nil {
			s.own[ch.Condition] = &record{}
			s.own[ch.Condition].adopt(ch, false)
			continue
		}
		ch.At, ch.Change, ch.Again, ch.Ended = s.now, farm.Eased, false, farm.Unwatched
		ch.Text = s.sayUnwatched(who, ch.Condition)
		ch.Forecast, ch.Advice, ch.Cautions = nil, nil, nil
		out = append(out, ch)
	}
	return out
}

// shift moves the times the state remembers from a moment on: the clock was put
// right. What was noted before, on a clock that was right, stays.
func (s *State) shift(d time.Duration, from time.Time) {
	for _, t := range s.times() {
		if !t.IsZero() && !t.Before(from) {
			*t = t.Add(d)
		}
	}
	s.minute = s.minute.Truncate(time.Minute)
	for _, p := range s.probes {
		p.Pace.Shift(d.Milliseconds(), from.UnixMilli())
		for i, ms := range p.Level.At {
			if ms >= from.UnixMilli() {
				p.Level.At[i] += d.Milliseconds()
			}
		}
		shiftTrack(&p.Track, d)
	}
	for _, z := range s.zones {
		z.Husbandry.shift(d, from)
	}
}

// times points at every time in the state that is on the clock's scale.
func (s *State) times() []*time.Time {
	ts := []*time.Time{&s.now, &s.minute, &s.since}
	for i := range s.hushes {
		ts = append(ts, &s.hushes[i].Until, &s.hushes[i].Set)
	}
	for _, p := range s.probes {
		ts = append(ts, &p.Newest.At, &p.Arrived, &p.Good.At, &p.GoodAt, &p.Bad.At, &p.Harm, &p.Heard, &p.Said)
	}
	for _, z := range s.zones {
		ts = append(ts, &z.Temp.At, &z.Temp.Arrived, &z.Moist.At, &z.Moist.Arrived, &z.Hold)
		for _, l := range []*ladder{&z.Hot, &z.Cold, &z.Dry, &z.Wet} {
			for i := range l.Rungs {
				ts = append(ts, &l.Rungs[i].Past, &l.Rungs[i].Inside)
			}
		}
		sift := &z.Husbandry.Sift
		ts = append(ts, &sift.Ready.Past, &sift.Ready.Inside, &sift.Closed.Past, &sift.Closed.Inside, &sift.Since)
	}
	s.eachRecord(func(_ subject, _ farm.Condition, r *record) { ts = append(ts, &r.Since, &r.EasedAt, &r.NowSince) })
	return ts
}
