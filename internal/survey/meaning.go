package survey

import (
	"slices"
	"strings"

	"binwatchd/internal/farm"
)

// A meaning is what names say a value is.
type meaning struct {
	measures farm.Quantity // "" when they say nothing or something else
	word     string        // that said so
	other    string        // what it is instead, or why it can't be told
	vague    bool          // a soil, and nothing of what is measured in it
	remote   bool          // not the value's own name said so, but where it stands
}

func (m meaning) silent() bool { return m.measures == "" && m.other == "" }

// meaningOf reads the names of a value, of which its own decides. Only one that
// says nothing, such as value or 3, leaves it to the text beside it that names
// it, then to what it stands in, and last to the topic. A name that is not known
// leaves it to nobody: it may be anything.
func meaningOf(l likeness) meaning {
	names := namesOf(l)
	var voltage meaning // of a name that says no more than that
	strange := false
	for i, name := range names {
		ws := split(name.text)
		m := read(ws, name.kind)
		switch {
		case m.other == aVoltage:
			voltage = m // whose it is, what it stands in may say
		case m.silent() && !allKnown(ws) && name.kind == key:
			return meaning{other: "its name says nothing of temperature, moisture or battery"}
		case m.silent():
			strange = strange || !allKnown(ws) // people call the levels of a topic as they like
		case voltage.word != "" && m.measures != farm.Battery:
			return voltage
		case m.vague && strange:
			return meaning{other: "only its topic says " + quoted(m.word)}
		case i == 0 && qualified(names[1:]).other != "":
			return qualified(names[1:])
		default:
			m.remote = i > 0 && name.kind != label && name.kind != unit
			return m
		}
	}
	return voltage
}

// qualified finds what makes a value another than its own name says: the
// temperature of a target, of a processor, of a battery. It gives the zero
// meaning where nothing does. Of a topic the nearest level counts.
func qualified(around []name) meaning {
	for _, n := range around {
		m := read(split(n.text), n.kind)
		switch {
		case m.other == wished, m.other == bound, m.other == ofDevice && n.kind == key: // a topic bears a board's name as its sender's
			return m
		case n.kind == level:
			return meaning{}
		}
	}
	return meaning{}
}

const aVoltage = "a voltage, and nothing says of what"

func allKnown(ws []string) bool {
	return !slices.ContainsFunc(ws, func(w string) bool { return !knows(w) })
}

// A name is one of those that a value has.
type name struct {
	text string
	kind kind
}

type kind int

const (
	key   kind = iota // of a value in a message, or of an object around it
	label             // a text beside it that says what it is
	unit              // a text beside it that says in what unit
	level             // of a topic
)

// namesOf gives the names of a value, its own first.
func namesOf(l likeness) []name {
	var out []name
	segments := lettered(strings.Split(l.pointer, "/"))
	if len(segments) > 0 {
		out = append(out, name{segments[len(segments)-1], key})
	}
	if text := l.beside(labels); text != "" {
		out = append(out, name{text, label})
	}
	if text := l.beside(unitNames); text != "" {
		out = append(out, name{text, unit})
	}
	for i := len(segments) - 2; i >= 0; i-- {
		out = append(out, name{segments[i], key})
	}
	levels := lettered(strings.Split(l.members[0].name, "/"))
	for i := len(levels) - 1; i >= 0; i-- {
		out = append(out, name{levels[i], level})
	}
	return out
}

// lettered are the segments of a path that hold a word.
func lettered(segments []string) []string {
	return slices.DeleteFunc(segments, func(s string) bool { return len(split(s)) == 0 })
}

// Names of texts that say what the number beside them is, and in what unit.
var (
	labels    = set("type kind name quantity measures measurement what label")
	unitNames = set("unit units uom")
)

// beside is the text of a neighbour of the value in its message that has one of
// some names; "" where there is none.
func (l likeness) beside(names map[string]bool) string {
	at := l.pointer[:max(strings.LastIndex(l.pointer, "/"), 0)] + "/"
	for _, pointer := range pointersOf(l.members[0]) {
		own, ok := strings.CutPrefix(pointer, at)
		if ok && names[strings.ToLower(own)] && pointer != l.pointer && l.members[0].channels[pointer].numbers == 0 {
			return l.members[0].channels[pointer].text
		}
	}
	return ""
}

// changing tells whether the text that names a value is not always the same:
// then one topic carries several things, which can't be told apart.
func (l likeness) changing() bool {
	at := l.pointer[:max(strings.LastIndex(l.pointer, "/"), 0)] + "/"
	for pointer, c := range l.members[0].channels {
		if own, ok := strings.CutPrefix(pointer, at); ok && labels[strings.ToLower(own)] && c.numbers == 0 && c.changed {
			return true
		}
	}
	return false
}

// read takes the words of one name together.
func read(ws []string, k kind) meaning {
	has := func(class map[string]bool) string {
		i := slices.IndexFunc(ws, func(w string) bool { return class[w] })
		if i < 0 {
			return ""
		}
		return ws[i]
	}
	measured := measuredBy(ws)
	if measured == batteryWarmth {
		return meaning{word: strings.Join(ws, " "), other: ofDevice}
	}
	for _, w := range ws {
		better := measured != "" && !(w == "current" && meanings[measured] == farm.Battery) || has(soils) != ""
		if what, ok := others[w]; ok && !(weak[w] && better) {
			return meaning{word: w, other: what}
		}
	}
	soil, water, volt := has(soils), has(airWaters), has(volts)
	switch {
	case k == unit && slices.ContainsFunc(ws, func(w string) bool { return w == "c" || w == "f" || w == "k" }):
		return meaning{measures: farm.Temperature, word: strings.Join(ws, " ")}
	case measured != "":
		return meaning{measures: meanings[measured], word: measured}
	case water != "" && soil != "":
		return meaning{measures: farm.Moisture, word: soil + " " + water}
	case water != "":
		return meaning{word: water, other: airWater}
	case soil != "" && allKnown(ws):
		return meaning{measures: farm.Moisture, word: soil, vague: true}
	case volt != "":
		return meaning{word: volt, other: aVoltage}
	}
	return meaning{}
}

// batteryWarmth stands for words that speak of both.
const batteryWarmth = "battery and temperature"

// measuredBy is the word that says what is measured: the last, for in English
// and German it is what the others describe.
func measuredBy(ws []string) string {
	last := ""
	battery, temperature := false, false
	for _, w := range ws {
		q, ok := meanings[w]
		if !ok || len(ws) > 1 && len(w) == 1 && generals[w] { // b of a and b
			continue
		}
		battery, temperature = battery || q == farm.Battery, temperature || q == farm.Temperature
		last = w
	}
	if battery && temperature {
		return batteryWarmth
	}
	return last
}

// named tells whether one of the words nearest to the value is among some, or
// the unit that is written beside it.
func (l likeness) named(some ...string) bool {
	path, topic := l.pointer, l.members[0].name
	if path == "" {
		path = topic[strings.LastIndex(topic, "/")+1:]
	}
	ws := append(split(path), split(l.beside(unitNames))...)
	return slices.ContainsFunc(ws, func(w string) bool { return slices.Contains(some, w) })
}
