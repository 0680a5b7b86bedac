package survey

import (
	"maps"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// What a value is may be said elsewhere than in its message: devices leave with the
// broker, for whoever comes later, what their topics carry. Two ways are read. In a tree
// of properties (the Homie convention, version 4) the attributes of a topic lie
// under it, with a $ before their names. A description is a JSON object, kept by the
// broker, that names a topic, a unit, a kind of value and a pattern by which the
// value is taken out of the message.

// A told is what is said elsewhere of a value. It can be compared.
type told struct {
	kind, unit string
	over       float64 // the number is to be divided by it; 0: it is as it stands
}

// elsewhere collects what topics say of values of others. The second are the topics
// that say no more than that.
func (s *Survey) elsewhere() (of map[[2]string]told, only map[string]bool) {
	of, only = map[[2]string]told{}, map[string]bool{}
	for _, name := range slices.Sorted(maps.Keys(s.topics)) {
		t := s.topics[name]
		if strings.HasPrefix(path.Base(name), "$") {
			only[name] = true
			continue
		}
		about := [2]string{name, ""}
		if attribute := s.attribute(name, "$unit"); attribute != "" {
			of[about] = told{kind: s.attribute(name, "$name"), unit: attribute}
		} else if kind := s.attribute(name, "$name"); kind != "" && s.attribute(name, "$datatype") != "" {
			of[about] = told{kind: kind}
		}
		if t.retained == t.messages {
			if about, what, ok := s.description(t); ok {
				of[about], only[name] = what, true
			}
		}
	}
	return of, only
}

// attribute is the text of a topic's attribute.
func (s *Survey) attribute(topic, name string) string {
	if t := s.topics[topic+"/"+name]; t != nil && t.values[""] != nil {
		return t.values[""].text
	}
	return ""
}

var (
	identifiers = regexp.MustCompile(`[\pL\pN_~-]+`)
	division    = regexp.MustCompile(`([*/])\s*([0-9.]+)`)
)

// description reads a topic's message as a description of a value of another topic.
func (s *Survey) description(t *topic) (about [2]string, what told, ok bool) {
	var base, pattern string
	for _, at := range t.pointers() {
		if at == "/~0" { // a tilde, as a pointer has it
			base = t.values[at].text
		}
	}
	for _, at := range t.pointers() {
		text, key := t.values[at].text, strings.ToLower(path.Base(at))
		full := text
		if base != "" && strings.HasPrefix(text, "~") {
			full = base + text[1:]
		} else if base != "" && strings.HasSuffix(text, "~") {
			full = text[:len(text)-1] + base
		}
		switch {
		case strings.Contains(text, "{{"):
			if !strings.Contains(at, "avai") && !strings.Contains(at, "avty") {
				pattern = text
			}
		case strings.Contains(key, "unit"):
			what.unit = text
		case strings.HasSuffix(key, "class") && !strings.HasPrefix(key, "state"), key == "dev_cla":
			what.kind = text
		case key == "name" && at == "/name" && what.kind == "":
			what.kind = text
		case s.topics[full] != nil && s.topics[full] != t && (strings.HasPrefix(key, "state") || strings.HasPrefix(key, "stat_") || key == "topic"):
			about[0] = full
		}
	}
	if about[0] == "" || what.unit == "" && what.kind == "" {
		return about, what, false
	}
	about[1] = s.topics[about[0]].meant(identifiers.FindAllString(pattern, -1))
	if m := division.FindStringSubmatch(pattern); m != nil {
		if what.over, _ = strconv.ParseFloat(m[2], 64); m[1] == "*" && what.over != 0 {
			what.over = 1 / what.over
		}
	}
	return about, what, true
}

// meant finds the value that a pattern takes, by the longest of the pointers whose steps stand
// in it in a row.
func (t *topic) meant(words []string) (longest string) {
	for _, at := range t.pointers() {
		if at != "" && len(at) > len(longest) && strings.Contains("/"+strings.Join(words, "/")+"/", at+"/") {
			longest = at
		}
	}
	return longest
}

// saidUnit is the unit of q that is said of the value: in its description, behind the
// number, or for all temperatures of its message; "" for none.
func (p *Probe) saidUnit(q farm.Quantity) farm.Unit {
	texts := []string{p.group.told.unit, string(p.heard.unit)}
	for _, at := range p.members[0].pointers() {
		ws := split(path.Base(at))
		if len(ws) == 2 && slices.Contains(unitKeys, ws[1]) && vocabulary[ws[0]] == (sense{measured, string(q)}) {
			texts = append(texts, p.members[0].values[at].text)
		}
	}
	for _, text := range texts {
		if u := ingest.UnitOf(text); slices.Contains(q.Row().AllUnits(), u) {
			return u
		}
	}
	return ""
}

// Keys under which a message bears the name that people gave its device, the best first.
var deviceKeys = []string{"devicename", "device_name", "friendly_name", "device_id"}

// longestDevice bounds a device's name, which becomes part of its probes'.
const longestDevice = 32

// device is the name that people gave the sender of a topic's messages, fit for the name of
// a probe; "" for none.
func (t *topic) device() string {
	for _, key := range deviceKeys {
		for _, at := range t.pointers() {
			v := t.values[at]
			if strings.ToLower(path.Base(at)) == key && !v.changed && !v.isNumber() {
				if names := segments(v.text); len(names) == 1 && len(names[0]) <= longestDevice && !strings.ContainsAny(names[0], "{}") {
					return names[0]
				}
			}
		}
	}
	return ""
}

var encoded = regexp.MustCompile(`^[A-Za-z0-9+/_-]{4,}={0,2}$`)

// isEncoded tells whether a text is the bytes of a radio's frame as they came: one called
// payload or data beside the number of a port or a frame.
func (p *Probe) isEncoded() bool {
	keys := map[string]bool{}
	for _, at := range p.members[0].pointers() {
		keys[strings.ReplaceAll(strings.ToLower(path.Base(at)), "_", "")] = true
	}
	own := strings.ReplaceAll(strings.ToLower(path.Base(p.Value)), "_", "")
	return slices.Contains([]string{"data", "frmpayload", "payload", "payloadraw", "bytes", "raw"}, own) &&
		(keys["fport"] || keys["fcnt"] || keys["port"] && keys["counter"]) && encoded.MatchString(p.heard.text)
}

// isConverter tells whether a value is called an analog input and nothing else, and looks like
// the number of one.
func (p *Probe) isConverter() bool {
	v, words := p.heard, split(p.Value)
	called := slices.ContainsFunc(words, func(w string) bool { return w == "analog" || w == "adc" })
	more := slices.ContainsFunc(words, func(w string) bool { return vocabulary[w].kind != general })
	return called && !more && v.sound > 0 && !v.fraction && v.low >= 0 && v.high > 1 && v.high <= largestADC
}

// Last levels of topics on which devices say that they are there, and the words that they say it
// with, in small letters. Common practice, no source; $state and its words are of the Homie convention.
var (
	lifeLevels = []string{"lwt", "status", "state", "availability", "alive", "online", "connected", "connection", "presence", "will", "$state"}
	lifeWords  = []string{"online", "offline", "connected", "disconnected", "alive", "dead", "available", "unavailable", "ready", "init", "sleeping", "lost"}
)

// isLife tells whether a topic says whether a device is there.
func (t *topic) isLife() bool {
	if !slices.Contains(lifeLevels, strings.ToLower(path.Base(t.name))) {
		return false
	}
	v := t.values[""]
	if v == nil {
		v = t.values["/state"]
	}
	return v != nil && slices.Contains(lifeWords, strings.ToLower(v.text))
}

// life finds the topic on which the device of a probe says that it is there: under what the probe's own
// topic lies under, as near to it as there is one, and for all that it stands for.
func (s *Survey) life(p *Probe) (of string) {
	levels := strings.Split(p.Topic, "/")
	for k := len(levels); k > 0; k-- {
		for _, last := range s.lives {
			at := func(topic string) string { return strings.Join(strings.Split(topic, "/")[:k], "/") + "/" + last }
			if !slices.ContainsFunc(p.members, func(t *topic) bool { l := s.topics[at(t.name)]; return l == nil || !l.isLife() }) {
				return at(p.Topic)
			}
		}
	}
	return ""
}

// lifeLevelsHeard lists the last levels of the topics that say whether a device is there, sorted.
func (s *Survey) lifeLevelsHeard() (levels []string) {
	for name, t := range s.topics {
		if t.isLife() {
			levels = append(levels, path.Base(name))
		}
	}
	slices.Sort(levels)
	return slices.Compact(levels)
}
