package survey

import (
	_ "embed"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"binwatchd/internal/farm"
)

// A kind is what a word of a name tells, by the rows of vocabulary.txt, which says
// what each of them is.
type kind string

const (
	measured kind = "measured"
	soil     kind = "soil"
	air      kind = "air"
	clock    kind = "clock"
	volt     kind = "volt"
	general  kind = "general"
	other    kind = "other" // something else
	weak     kind = "weak"  // something else, where nothing better is said beside it: a word in brackets
	wish     kind = "wish"
	bound    kind = "bound"
	device   kind = "device"
)

// A sense is what a word means: the name of a quantity, or what it is instead.
type sense struct {
	kind  kind
	means string
}

//go:embed vocabulary.txt
var vocabularyText string

// vocabulary is what words mean; quantities are called by their names too.
var vocabulary = func() map[string]sense {
	all := map[string]sense{}
	for _, q := range farm.QuantityNames() {
		all[string(q)] = sense{measured, string(q)}
	}
	var s sense
	for row := range strings.Lines(vocabularyText) {
		head, words, begins := strings.Cut(row, ":")
		switch {
		case row[0] == '#':
			continue
		case begins:
			name, means, _ := strings.Cut(head, " ")
			s = sense{kind(name), means}
		default:
			words = row
		}
		for w := range strings.FieldsSeq(words) {
			if all[w] = s; w[0] == '(' {
				all[strings.Trim(w, "()")] = sense{weak, s.means}
			}
		}
	}
	return all
}()

func known(w string) bool { return vocabulary[w].kind != "" }

func allKnown(ws []string) bool {
	return !slices.ContainsFunc(ws, func(w string) bool { return !known(w) })
}

// split cuts a path into small words without the numbers at their ends:
// soilTemp_2 is soil, temp; so is soiltemp; and mV stays mv.
func split(path string) (out []string) {
	for _, run := range strings.FieldsFunc(path, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
		words := []string{run}
		if !known(small(run)) {
			words = strings.Fields(hump.ReplaceAllString(run, "$1 $2"))
		}
		for _, word := range words {
			if w := small(word); w != "" {
				out = append(out, pieces(w)...)
			}
		}
	}
	return out
}

// small is a word in small letters, without accents and without the number at
// its end, unless that is part of it.
func small(w string) string {
	if w = withoutAccents(strings.ToLower(w)); known(w) {
		return w
	}
	return strings.TrimRightFunc(w, unicode.IsDigit)
}

var withoutAccents = strings.NewReplacer("ä", "a", "á", "a", "à", "a", "â", "a", "é", "e", "è", "e", "ê", "e",
	"í", "i", "î", "i", "ö", "o", "ó", "o", "ô", "o", "ü", "u", "ú", "u", "û", "u", "ñ", "n", "ç", "c", "ß", "ss").Replace

// hump is where a capital letter follows a small one.
var hump = regexp.MustCompile(`(\p{Ll})(\p{Lu})`)

const (
	shortestPiece = 3  // shorter words stand in too many longer ones by chance
	longestRun    = 40 // letters of a word that is looked through: names come from outside
)

// pieces takes a word apart that is two or three known ones written together, and
// leaves any other whole.
func pieces(w string) []string {
	if known(w) || len(w) > longestRun {
		return []string{w}
	}
	for i := len(w) - shortestPiece; i >= shortestPiece; i-- { // the longest beginning first
		if begin := w[:i]; known(begin) {
			if rest := pieces(w[i:]); allKnown(rest) {
				return append([]string{begin}, rest...)
			}
		}
	}
	return []string{w}
}

// A name is one of those that a value has.
type name struct {
	words []string
	from  origin
}

type origin int

const (
	key   origin = iota // of a value in a message, or of an object around it
	label               // a text beside it that says what it is
	unit                // a text beside it that says in what unit
	level               // of a topic
)

// names gives the names of a value that hold a word, the best first: what is said
// of it elsewhere, what is inmost in its message, then the texts beside it, then what it stands in, and last the
// levels of its topic.
func (p *Probe) names() []name {
	keys, levels := named(key, strings.Split(p.Value, "/")), named(level, strings.Split(p.members[0].name, "/"))
	slices.Reverse(keys)
	slices.Reverse(levels)
	labels, _ := p.beside(labelKeys)
	units := p.units()
	own := min(1, len(keys))
	return slices.Concat(named(label, []string{p.group.told.kind}), keys[:own], named(label, labels), named(unit, units), keys[own:], levels)
}

// named gives the names that some texts are, of those that hold a word.
func named(from origin, texts []string) (names []name) {
	for _, text := range texts {
		if ws := split(text); len(ws) > 0 {
			names = append(names, name{ws, from})
		}
	}
	return names
}

// Names of texts that say what the number beside them is, and in what unit.
var (
	labelKeys = []string{"type", "kind", "name", "quantity", "measures", "measurement", "what", "label"}
	unitKeys  = []string{"unit", "units", "uom"}
)

// units lists the words that say in what unit the value is: behind the number, or beside it.
func (p *Probe) units() (words []string) {
	words = append(words, p.group.told.unit, string(p.heard.unit))
	beside, _ := p.beside(unitKeys)
	return append(words, beside...)
}

// beside lists the texts that are neighbours of the value in its message and
// have one of some names. changed tells whether one of them was another before.
func (p *Probe) beside(names []string) (texts []string, changed bool) {
	at := p.Value[:max(strings.LastIndex(p.Value, "/"), 0)] + "/"
	for _, pointer := range p.members[0].pointers() {
		v := p.members[0].values[pointer]
		own, ok := strings.CutPrefix(pointer, at)
		if ok && pointer != p.Value && !v.isNumber() && slices.Contains(names, strings.ToLower(own)) {
			texts, changed = append(texts, v.text), changed || v.changed
		}
	}
	return texts, changed
}

// A meaning is what names say a value is: something measured, a soil of which no
// more is said, or something else. The zero meaning says nothing.
type meaning struct {
	sense
	word   string // that said so; "" where none did
	remote bool   // not the value's own name said so, but where it stands
}

// quantity is what the value measures; "" when that is not said.
func (m meaning) quantity() farm.Quantity {
	if m.kind == measured || m.kind == soil {
		return farm.Quantity(m.means)
	}
	return ""
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
		m := n.read()
		switch {
		case m.kind == volt:
			voltage = m // whose it is, what it stands in may say
		case m.kind == "" && n.from == key && !allKnown(n.words):
			return meaning{sense: sense{other, "its name says nothing of what a bin is watched by"}}
		case m.kind == "":
			strange = strange || !allKnown(n.words) // people call the levels of a topic as they like
		case voltage.kind != "" && m.quantity() != farm.Battery:
			return voltage
		case m.kind == soil && strange:
			return meaning{sense: sense{other, "only its topic says " + quoted(m.word)}}
		default:
			if what := qualified(names[1:]); i == 0 && what.kind != "" {
				return what
			}
			if m.quantity() == farm.Humidity && slices.ContainsFunc(names[i+1:], name.ofSoil) {
				return meaning{sense: sense{other, "water, and nothing says whether the soil's or the air's"}, word: m.word}
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
		m := n.read()
		switch {
		case m.kind == wish, m.kind == bound, m.kind == device && n.from == key: // a topic bears a board's name as its sender's
			return m
		case n.from == level:
			return meaning{}
		}
	}
	return meaning{}
}

// read takes the words of one name together.
func (n name) read() meaning {
	first := map[kind]meaning{}
	var last meaning // in English and German the last word is what the others describe
	seen := map[farm.Quantity]bool{}
	for _, w := range n.words {
		m := meaning{sense: vocabulary[w], word: w}
		k := m.kind
		switch k {
		case measured:
			if w == "b" && len(n.words) > 1 { // b of a and b
				continue
			}
			last, seen[m.quantity()] = m, true
		case wish, bound, device:
			k = other
		}
		if _, twice := first[k]; !twice {
			first[k] = m
		}
	}
	all := strings.Join(n.words, " ")
	measures := func(q farm.Quantity, word string) meaning {
		return meaning{sense: sense{measured, string(q)}, word: word}
	}
	switch {
	case seen[farm.Battery] && seen[farm.Temperature]:
		return meaning{sense: vocabulary["self"], word: all}
	case first[other].kind != "":
		return first[other]
	case n.from == unit && n.hasAny("c", "f", "k"):
		return measures(farm.Temperature, all)
	case n.from == unit && n.hasAny("µs", "us", "ms") && n.hasAny("cm", "m"):
		return measures(farm.Conductivity, all)
	case first[weak].kind != "" && last.kind == "" && (first[soil].kind == "" || n.hasAny("heap")), first[weak].word == "current" && last.quantity() == farm.Battery:
		return first[weak]
	case last.kind != "":
		return last
	case first[soil].kind != "" && n.hasAny("water", "eau", "agua"):
		return measures(farm.Moisture, "water "+first[soil].word)
	case first[air].kind != "" && first[soil].kind != "":
		return measures(farm.Moisture, first[soil].word+" "+first[air].word)
	case first[air].kind != "":
		return measures(farm.Humidity, first[air].word)
	case first[soil].kind != "" && allKnown(n.words):
		return first[soil]
	}
	return first[volt]
}

func (n name) ofSoil() bool {
	return slices.ContainsFunc(n.words, func(w string) bool { return vocabulary[w].kind == soil })
}

func (n name) hasAny(some ...string) bool {
	return slices.ContainsFunc(n.words, func(w string) bool { return slices.Contains(some, w) })
}
