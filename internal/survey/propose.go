package survey

import (
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"binwatchd/internal/farm"
	"binwatchd/internal/snippet"
)

// A Proposal is what could be made of what was heard.
type Proposal struct {
	Messages int
	Topics   int
	Beyond   int     // messages and values there was no room for
	Probes   []Probe // by topic and pointer
	Aside    []Aside // what no probe is proposed for
}

// A Probe is one proposed entry of the configuration.
type Probe struct {
	ID          string // with named parts where it stands for several
	Topic       string
	Value, Time string // JSON Pointers
	Measures    farm.Quantity
	Unit        farm.Unit
	Every       time.Duration // 0 when it was heard too seldom to tell
	Calibration []farm.Point
	Low         string   // of a battery, as the configuration has it
	Of          []string // of a battery: ids of the probes that run on it
	Stands      []string // ids of the probes that it stands for; itself alone without named parts
	Heard       string   // what it said, for a person
	why         reasons
}

// An Aside is a value that no probe is proposed for.
type Aside struct {
	Topic string // with named parts where there are several
	Value string // JSON Pointer
	Heard string
	Why   string
}

// Propose makes a proposal of what was heard so far. The same messages give
// the same proposal.
func (s *Survey) Propose() Proposal {
	p := Proposal{Messages: s.messages, Topics: len(s.topics), Beyond: s.beyond}
	for _, t := range s.topics {
		p.Beyond += t.beyond
	}
	for _, t := range s.sorted() {
		if len(t.channels) == 0 {
			p.Aside = append(p.Aside, Aside{Topic: t.name, Heard: t.last, Why: "an empty message"})
		}
	}
	likes, guesses := p.guess(alike(s.sorted()))
	ids := idsOf(likes, guesses)
	for clash := clashing(ids, likes); len(clash) > 0; clash = clashing(ids, likes) {
		likes, guesses = p.guess(dissolved(likes, clash))
		ids = idsOf(likes, guesses)
	}
	for i, l := range likes {
		p.Probes = append(p.Probes, newProbe(ids[i], l, guesses[i]))
	}
	for i := range p.Probes {
		if p.Probes[i].Measures == farm.Battery {
			p.Probes[i].Of = powered(p.Probes, likes, i)
		}
	}
	return p
}

// guess takes every value heard for something, or puts it aside.
func (p *Proposal) guess(all []likeness) (likes []likeness, guesses []guess) {
	for _, l := range all {
		g := guess{whyNot: unfit(l.topic, l.pointer, len(l.members) == 1)}
		if g.whyNot == "" {
			g = guessOf(l)
		}
		if g.whyNot != "" {
			p.Aside = append(p.Aside, Aside{l.topic, l.pointer, span(&l.channel), g.whyNot})
			continue
		}
		likes, guesses = append(likes, l), append(guesses, g)
	}
	return likes, guesses
}

// dissolved takes some likenesses apart into topics of their own.
func dissolved(likes []likeness, which []int) []likeness {
	var out []likeness
	for i, l := range likes {
		if slices.Contains(which, i) {
			out = append(out, single(l.members, l.pointer)...)
		} else {
			out = append(out, l)
		}
	}
	return sortLikenesses(out)
}

// longestText bounds what the configuration takes for a topic or a pointer.
const longestText = 1000

// unfit tells why a topic or a pointer can't stand in the configuration, or
// "".
func unfit(topic, pointer string, alone bool) string {
	switch {
	case utf8.RuneCountInString(topic) > longestText || len(pointer) > longestText:
		return "its name is too long for the configuration"
	case !utf8.ValidString(topic+pointer) || strings.ContainsFunc(topic+pointer, func(r rune) bool { return unicode.IsControl(r) || r == utf8.RuneError }):
		return "its name holds characters that the configuration refuses"
	case strings.TrimSpace(topic) == "":
		return "its topic is blank"
	case alone && strings.ContainsAny(topic, "{}"), strings.ContainsAny(pointer, "{}"):
		return "the configuration takes braces for named parts"
	case strings.ContainsAny(topic, "+#"):
		return "no topic"
	}
	for _, own := range []string{"binwatch/jot/", "binwatch/hush/", "binwatch/seen/"} {
		if strings.HasPrefix(topic, own) {
			return "binwatchd's own"
		}
	}
	return ""
}

func idsOf(likes []likeness, guesses []guess) []string {
	type place struct {
		topic string
		q     farm.Quantity
	}
	count := map[place]int{}
	for i, l := range likes {
		count[place{l.topic, guesses[i].measures}]++
	}
	ids := make([]string, len(likes))
	for i, l := range likes {
		q := guesses[i].measures
		ids[i] = idOf(l, q, count[place{l.topic, q}] > 1)
	}
	distinct(ids)
	return ids
}

func newProbe(id string, l likeness, g guess) Probe {
	p := Probe{
		ID: id, Topic: l.topic, Value: l.pointer, Measures: g.measures, Unit: g.unit,
		Calibration: g.calibration, Low: g.low, Heard: heard(l), why: g.why,
	}
	p.Time, p.why.time = clockOf(l)
	pace, gaps := every(l, p.Time)
	p.Every, p.why.every = pace, whyEvery(gaps, p.Time)
	for _, parts := range l.parts {
		p.Stands = append(p.Stands, fill(id, parts))
	}
	return p
}

// clockOf finds the device's time stamp in the messages of a likeness: in all
// of them, always believable, and best one named so.
func clockOf(l likeness) (pointer, why string) {
	best := ""
	for _, at := range pointersOf(l.members[0]) {
		if at == l.pointer || !isClock(l, at) {
			continue
		}
		if best == "" || namedClock(at) && !namedClock(best) {
			best = at
		}
	}
	if best == "" {
		return "", ""
	}
	c := l.members[0].channels[best]
	return best, "a time stamp, " + c.stamps[len(c.stamps)-1].UTC().Format(time.RFC3339)
}

func pointersOf(t *topic) []string {
	var all []string
	for at := range t.channels {
		all = append(all, at)
	}
	slices.Sort(all)
	return all
}

func isClock(l likeness, at string) bool {
	for _, t := range l.members {
		if c := t.channels[at]; c == nil || len(c.stamps) == 0 || c.misdated > 0 || strings.ContainsAny(at, "{}") || unfit(t.name, at, false) != "" {
			return false
		}
	}
	return true
}

func namedClock(at string) bool {
	ws := split(at)
	return len(ws) > 0 && clocks[ws[len(ws)-1]]
}

// powered lists the probes on one device with a battery: in the same message,
// or beside it under one topic.
func powered(all []Probe, likes []likeness, battery int) []string {
	var of []string
	for j, p := range all {
		if p.Measures == farm.Battery {
			continue
		}
		if deviceOf(p.Topic, p.Value) == deviceOf(all[battery].Topic, all[battery].Value) && deviceOf(p.Topic, p.Value) != "" {
			of = append(of, p.ID)
			continue
		}
		if len(likes[battery].members) > 1 {
			continue
		}
		for k, t := range likes[j].members { // one of many alike
			if d := deviceOf(t.name, p.Value); d != "" && d == deviceOf(all[battery].Topic, all[battery].Value) {
				of = append(of, p.Stands[k])
			}
		}
	}
	return of
}

// deviceOf is what the values of one device have in common: the topic of an
// object, or what a topic of a single number lies under.
func deviceOf(topic, pointer string) string {
	if pointer != "" {
		return topic
	}
	return topic[:max(strings.LastIndex(topic, "/"), 0)]
}

func heard(l likeness) string {
	messages, retained := 0, 0
	for _, t := range l.members {
		messages += t.messages
		retained += t.retained
	}
	s := span(&l.channel) + ", " + count(messages, "message")
	if len(l.members) > 1 {
		s += " on " + count(len(l.members), "topic")
	}
	switch {
	case retained == messages:
		s += ", all of them stored by the broker: their age is unknown"
	case retained > 0:
		s += ", " + snippet.Number(float64(retained)) + " of them stored by the broker"
	}
	if l.channel.faults > 0 {
		s += ", and " + count(l.channel.faults, "fault code")
	}
	return s
}
