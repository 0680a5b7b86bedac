package survey

import (
	"cmp"
	"maps"
	"math"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"binwatchd/internal/farm"
)

// A Proposal is what could be made of what was heard.
type Proposal struct {
	Messages int
	Topics   int
	Beyond   int     // messages and values there was no room for
	Known    int     // values that the configuration has
	Probes   []Probe // by topic and pointer
	Aside    []Aside // what no probe is proposed for, by topic and pointer
}

// A Probe is one proposed entry of the configuration: one value of one topic, or
// of several topics that differ only in numbers or in the numbers of devices.
type Probe struct {
	ID          string // with named parts where it stands for several
	Topic       string // rack/{n}/t
	Value, Time string // JSON Pointers
	Measures    farm.Quantity
	Unit        farm.Unit
	Every       time.Duration // 0 when it was heard too seldom to tell
	Calibration []farm.Point
	Low         string   // of a battery, as the configuration has it
	Alive       string   // topic on which its device says that it is there; "" for none
	Of          []string // of a battery: ids of the probes that run on it
	Stands      []string // ids of the probes that it stands for; itself alone without named parts

	Messages, Retained int // heard of it

	group   group
	members []*topic
	parts   [][]string        // by member: what the named parts stand for
	heard   *value            // what all members said
	why     map[string]string // by key of the configuration, where it is a guess
}

// Heard says what numbers were heard.
func (p *Probe) Heard() string { return span(p.heard) }

// Faults counts the fault codes that were.
func (p *Probe) Faults() int { return p.heard.faults + p.heard.powerOns }

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
	apart := map[group]bool{}
	p := s.guess(apart)
	for keepApart(p.Probes, s.taken, apart) {
		p = s.guess(apart)
	}
	s.lives = s.lifeLevelsHeard()
	for i := range p.Probes {
		p.Probes[i].finish()
		p.Probes[i].Alive = s.life(&p.Probes[i])
	}
	for i := range p.Probes {
		if p.Probes[i].Measures == farm.Battery {
			p.Probes[i].Of, p.Probes[i].why["of"] = powered(p.Probes, &p.Probes[i]), "the same device"
		}
	}
	return p
}

// guess takes every value heard for something, or puts it aside.
func (s *Survey) guess(apart map[group]bool) Proposal {
	p := Proposal{Messages: s.messages, Topics: len(s.topics), Beyond: s.beyond}
	for _, t := range s.topics {
		if len(t.values) == 0 {
			p.Aside = append(p.Aside, Aside{Topic: t.name, Heard: "nothing", Why: "an empty message"})
		}
	}
	probes, known := s.alike(apart)
	p.Known = known
	for _, probe := range probes {
		whyNot := cmp.Or(unfit(probe.Topic, probe.Value, len(probe.members) == 1), probe.guess())
		if whyNot != "" {
			p.Aside = append(p.Aside, Aside{probe.Topic, probe.Value, span(probe.heard), whyNot})
			continue
		}
		p.Probes = append(p.Probes, probe)
	}
	slices.SortStableFunc(p.Aside, func(a, b Aside) int {
		return cmp.Or(cmp.Compare(a.Topic, b.Topic), cmp.Compare(a.Value, b.Value))
	})
	identify(p.Probes, s.taken)
	return p
}

// finish fills in what does not bear on what a probe is.
func (p *Probe) finish() {
	for _, parts := range p.parts {
		p.Stands = append(p.Stands, fill(p.ID, parts))
	}
	if p.Time = p.clock(); p.Time != "" {
		stamps := p.members[0].values[p.Time].stamps
		p.why["time"] = "a time stamp, " + stamps[len(stamps)-1].UTC().Format(time.RFC3339)
	}
	p.setPace()
}

// longestText bounds what the configuration takes for a topic or a pointer.
const longestText = 1000

var ownTopic = regexp.MustCompile("^binwatch/(jot|hush|seen)/")

// unfit tells why a topic or a pointer can't stand in the configuration, or
// "".
func unfit(topic, pointer string, alone bool) string {
	refused := func(r rune) bool { return unicode.IsControl(r) || r == utf8.RuneError }
	switch {
	case utf8.RuneCountInString(topic) > longestText || len(pointer) > longestText:
		return "its name is too long for the configuration"
	case strings.ContainsFunc(topic+pointer, refused):
		return "its name holds characters that the configuration refuses"
	case strings.TrimSpace(topic) == "":
		return "its topic is blank"
	case alone && strings.ContainsAny(topic, "{}"), strings.ContainsAny(pointer, "{}"):
		return "the configuration takes braces for named parts"
	case strings.ContainsAny(topic, "+#"):
		return "no topic"
	case ownTopic.MatchString(topic):
		return "binwatchd's own"
	}
	return ""
}

// clock finds the device's time stamp in the messages of a probe: in all of
// them, always believable, and best one named so.
func (p *Probe) clock() string {
	clocks := slices.DeleteFunc(p.members[0].pointers(), func(at string) bool { return at == "" || at == p.Value || !p.isClock(at) })
	if len(clocks) == 0 {
		return ""
	}
	return clocks[max(slices.IndexFunc(clocks, namedClock), 0)]
}

func (p *Probe) isClock(at string) bool {
	return !strings.ContainsAny(at, "{}") && !slices.ContainsFunc(p.members, func(t *topic) bool {
		v := t.values[at]
		return v == nil || len(v.stamps) == 0 || v.misdated > 0 || v.late() || unfit(t.name, at, false) != ""
	})
}

func namedClock(at string) bool {
	ws := split(at)
	return len(ws) > 0 && vocabulary[ws[len(ws)-1]].kind == clock
}

func (t *topic) pointers() []string { return slices.Sorted(maps.Keys(t.values)) }

// powered lists the probes on one device with a battery: in the same message,
// or beside it under one topic.
func powered(all []Probe, battery *Probe) (of []string) {
	device := deviceOf(battery.Topic, battery.Value)
	for _, p := range all {
		switch {
		case p.Measures == farm.Battery || device == "":
		case deviceOf(p.Topic, p.Value) == device:
			of = append(of, p.ID)
		default:
			for k, t := range p.members { // one of many alike
				if deviceOf(t.name, p.Value) == device {
					of = append(of, p.Stands[k])
				}
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

// paces are those that people set. Common practice, no source.
var paces = []time.Duration{
	time.Second, 2 * time.Second, 5 * time.Second, 10 * time.Second, 15 * time.Second, 20 * time.Second, 30 * time.Second,
	time.Minute, 2 * time.Minute, 3 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 20 * time.Minute,
	30 * time.Minute, time.Hour, 2 * time.Hour, 3 * time.Hour, 4 * time.Hour, 6 * time.Hour, 12 * time.Hour, 24 * time.Hour,
}

// near is how far a median gap may lie from a pace and still be meant for it.
const near = 0.12

// setPace finds how often a probe speaks: the median gap between messages,
// rounded to one that people set. With a device's own time stamps their gaps
// count, and the stored message adds one.
func (p *Probe) setPace() {
	var gaps []time.Duration
	between := "messages"
	for _, t := range p.members {
		times := t.times
		if p.Time != "" {
			times, between = t.values[p.Time].stamps, "time stamps"
		}
		times = slices.SortedFunc(slices.Values(times), time.Time.Compare)
		for i := 1; i < len(times); i++ {
			if d := times[i].Sub(times[i-1]); d > 0 { // the same stamp twice is one reading
				gaps = append(gaps, d)
			}
		}
	}
	if len(gaps) == 0 {
		return
	}
	slices.Sort(gaps)
	p.Every = roundPace(gaps[(len(gaps)-1)/2])
	p.why["every"] = "the middle of " + farm.SayCount(len(gaps), "gap") + " between " + between
}

// roundPace gives the pace that is meant, else the gap to two digits; within a
// second and a week, as the configuration has it.
func roundPace(gap time.Duration) time.Duration {
	for _, p := range paces {
		if math.Abs(float64(gap-p)) <= near*float64(p) {
			return p
		}
	}
	s := gap.Seconds()
	step := math.Pow(10, math.Floor(math.Log10(s))-1)
	s = math.Round(s/step) * step
	return time.Duration(min(max(math.Round(s), 1), (7*24*time.Hour).Seconds())) * time.Second
}
