package survey

import (
	"cmp"
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

// meaning reads the names of a value, of which its own decides. Only one that
// says nothing, such as value or 3, leaves it to the text beside it that names
// it, then to what it stands in, and last to the topic. A name that is not known
// leaves it to nobody: it may be anything.
func (p *Probe) meaning() meaning {
	names := p.names()
	var voltage meaning // of a name that says no more than that
	strange := false
	for i, n := range names {
		m := read(n)
		silent := m.measures == "" && m.other == ""
		switch {
		case m.other == aVoltage:
			voltage = m // whose it is, what it stands in may say
		case silent && n.from == key && !allKnown(n.words):
			return meaning{other: "its name says nothing of what a bin is watched by"}
		case silent:
			strange = strange || !allKnown(n.words) // people call the levels of a topic as they like
		case voltage.word != "" && m.measures != farm.Battery:
			return voltage
		case m.vague && strange:
			return meaning{other: "only its topic says " + quoted(m.word)}
		default:
			if what := qualified(names[1:]); i == 0 && what.other != "" {
				return what
			}
			if m.measures == farm.Humidity && slices.ContainsFunc(names[i+1:], name.ofSoil) {
				return meaning{word: m.word, other: whoseAir}
			}
			m.remote = i > 0 && (n.from == key || n.from == level)
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
		m := read(n)
		switch {
		case m.other == wished, m.other == bound, m.other == ofDevice && n.from == key: // a topic bears a board's name as its sender's
			return m
		case n.from == level:
			return meaning{}
		}
	}
	return meaning{}
}

// A name is one of those that a value has.
type name struct {
	words []string
	from  origin
}

func (n name) ofSoil() bool {
	return slices.ContainsFunc(n.words, func(w string) bool { return vocabulary[w].kind == soil && known(w) })
}

type origin int

const (
	key   origin = iota // of a value in a message, or of an object around it
	label               // a text beside it that says what it is
	unit                // a text beside it that says in what unit
	level               // of a topic
)

// names gives the names of a value that hold a word, its own first.
func (p *Probe) names() []name {
	keys := strings.Split(p.Value, "/")
	slices.Reverse(keys)
	levels := strings.Split(p.members[0].name, "/")
	slices.Reverse(levels)
	var out []name
	add := func(from origin, texts ...string) {
		for _, text := range texts {
			if ws := split(text); len(ws) > 0 {
				out = append(out, name{ws, from})
			}
		}
	}
	keys = slices.DeleteFunc(keys, func(k string) bool { return len(split(k)) == 0 })
	own := min(1, len(keys))
	add(key, keys[:own]...)
	for _, v := range p.beside(labelKeys) {
		add(label, v.text)
	}
	for _, v := range p.beside(unitKeys) {
		add(unit, v.text)
	}
	add(key, keys[own:]...)
	add(level, levels...)
	return out
}

// Names of texts that say what the number beside them is, and in what unit.
var (
	labelKeys = []string{"type", "kind", "name", "quantity", "measures", "measurement", "what", "label"}
	unitKeys  = []string{"unit", "units", "uom"}
)

// beside lists the texts that are neighbours of the value in its message and
// have one of some names.
func (p *Probe) beside(names []string) []*value {
	var out []*value
	at := p.Value[:max(strings.LastIndex(p.Value, "/"), 0)] + "/"
	for _, pointer := range p.members[0].pointers() {
		v := p.members[0].values[pointer]
		own, ok := strings.CutPrefix(pointer, at)
		if ok && pointer != p.Value && !v.isNumber() && slices.Contains(names, strings.ToLower(own)) {
			out = append(out, v)
		}
	}
	return out
}

// read takes the words of one name together.
func read(n name) meaning {
	var first [clock + 1]string // word of each kind
	var last farm.Quantity      // in English and German the last word is what the others describe
	seen := map[farm.Quantity]bool{}
	for _, w := range n.words {
		s, ok := vocabulary[w]
		switch {
		case !ok || w == "b" && len(n.words) > 1: // b of a and b
		case s.kind == measured:
			first[measured], last = w, s.quantity()
			seen[last] = true
		default:
			first[s.kind] = cmp.Or(first[s.kind], w)
		}
	}
	all := strings.Join(n.words, " ")
	otherwise := func(k kind) meaning { return meaning{word: first[k], other: vocabulary[first[k]].means} }
	switch {
	case seen[farm.Battery] && seen[farm.Temperature]:
		return meaning{word: all, other: ofDevice}
	case first[other] != "":
		return otherwise(other)
	case n.from == unit && hasAny(n.words, "c", "f", "k"):
		return meaning{measures: farm.Temperature, word: all}
	case n.from == unit && hasAny(n.words, "µs", "us", "ms") && hasAny(n.words, "cm", "m"):
		return meaning{measures: farm.Conductivity, word: all}
	case first[weak] != "" && last == "" && first[soil] == "", first[weak] == "current" && last == farm.Battery:
		return otherwise(weak)
	case last != "":
		return meaning{measures: last, word: first[measured]}
	case first[airWater] != "" && first[soil] != "":
		return meaning{measures: farm.Moisture, word: first[soil] + " " + first[airWater]}
	case first[airWater] != "":
		return meaning{measures: farm.Humidity, word: first[airWater]}
	case first[soil] != "" && allKnown(n.words):
		return meaning{measures: farm.Moisture, word: first[soil], vague: true}
	case first[volt] != "":
		return otherwise(volt)
	}
	return meaning{}
}

func hasAny(ws []string, some ...string) bool {
	return slices.ContainsFunc(ws, func(w string) bool { return slices.Contains(some, w) })
}
