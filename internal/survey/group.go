package survey

import (
	"cmp"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"binwatchd/internal/farm"
)

// partNames are the names that named parts get, in order. What differs in more
// places than this is not called alike.
const partNames = "nmkl"

func namedPart(i int) string { return "{" + partNames[i:i+1] + "}" }

// fill puts what the named parts stand for into a text.
func fill(s string, parts []string) string {
	for i, v := range parts {
		s = strings.ReplaceAll(s, namedPart(i), v)
	}
	return s
}

var (
	words  = regexp.MustCompile(`[\pL\pN]+`)
	digits = regexp.MustCompile(`\pN+`)
	hex    = regexp.MustCompile(`^[0-9a-fA-F]{6,}$`)
)

// cut takes out of a topic what may differ between look-alike topics: runs of
// digits, and words that are the hexadecimal number of a device. The skeleton,
// which look-alike topics share, has a NUL in place of each.
func cut(topic string) (skeleton string, pieces []string) {
	topic = strings.ReplaceAll(topic, "\x00", "\x01") // the configuration takes neither
	skeleton = words.ReplaceAllStringFunc(topic, func(word string) string {
		variable := digits
		if hex.MatchString(word) && digits.MatchString(word) {
			variable = hex
		}
		pieces = append(pieces, variable.FindAllString(word, -1)...)
		return variable.ReplaceAllString(word, "\x00")
	})
	return skeleton, pieces
}

// alike puts the values of all topics together that have the same skeleton and
// the same pointer.
func alike(topics []*topic) []Probe {
	type key struct{ skeleton, pointer string }
	groups := map[key][]*topic{} // by name, as topics are
	for _, t := range topics {
		skeleton, _ := cut(t.name)
		for pointer := range t.values {
			k := key{skeleton, pointer}
			groups[k] = append(groups[k], t)
		}
	}
	var all []Probe
	for k, members := range groups {
		all = append(all, joined(members, k.pointer)...)
	}
	return byTopic(all)
}

func byTopic(all []Probe) []Probe {
	slices.SortFunc(all, func(a, b Probe) int {
		return cmp.Or(cmp.Compare(a.members[0].name, b.members[0].name), cmp.Compare(a.Value, b.Value))
	})
	return all
}

// joined makes one probe of topics that share a skeleton; or one of each where
// they differ in too many places, or a brace in them or in the pointer would be
// taken for a named part.
func joined(members []*topic, pointer string) []Probe {
	if len(members) == 1 || strings.ContainsAny(members[0].name+pointer, "{}") {
		return single(members, pointer)
	}
	pieces := make([][]string, len(members))
	var skeleton string
	for i, t := range members {
		skeleton, pieces[i] = cut(t.name)
	}
	parts := make([][]string, len(members))
	for i, piece := range pieces[0] {
		if slices.ContainsFunc(pieces, func(p []string) bool { return p[i] != piece }) {
			n := len(parts[0])
			if n == len(partNames) {
				return single(members, pointer)
			}
			piece = namedPart(n)
			for k := range members {
				parts[k] = append(parts[k], pieces[k][i])
			}
		}
		skeleton = strings.Replace(skeleton, "\x00", piece, 1)
	}
	return []Probe{newProbe(skeleton, pointer, members, parts)}
}

// single makes a probe of each topic.
func single(members []*topic, pointer string) []Probe {
	var all []Probe
	for _, t := range members {
		all = append(all, newProbe(t.name, pointer, []*topic{t}, [][]string{nil}))
	}
	return all
}

func newProbe(topic, pointer string, members []*topic, parts [][]string) Probe {
	p := Probe{Topic: topic, Value: pointer, members: members, parts: parts, heard: newValue()}
	for _, t := range members {
		p.heard.add(t.values[pointer])
	}
	return p
}

// identify gives each probe a name of its own.
func identify(probes []Probe) {
	type place struct {
		topic    string
		measures farm.Quantity
	}
	values := map[place]int{}
	for _, p := range probes {
		values[place{p.Topic, p.Measures}]++
	}
	taken := map[string]bool{}
	for i := range probes {
		p := &probes[i]
		id := p.name(values[place{p.Topic, p.Measures}] > 1)
		p.ID = id
		for n := 2; id != "" && taken[p.ID]; n++ {
			p.ID = id + "-" + strconv.Itoa(n)
		}
		taken[p.ID] = true
	}
}

// longestID is a little under the longest name that the configuration takes,
// so that a number fits behind.
const longestID = 56

// name makes a name out of the topic: rack/{n}/temperature is rack-{n}-t. Where
// a topic carries several values of one quantity the pointer is named too. It
// gives "" when the named parts don't fit in.
func (p *Probe) name(several bool) string {
	path := segments(p.Topic)
	if last := len(path) - 1; last > 0 && p.Value == "" && p.onlyMeasures(path[last]) {
		path = path[:last]
	}
	if several {
		path = append(path, slices.DeleteFunc(segments(p.Value), p.onlyMeasures)...)
	}
	id := strings.Join(path, "-")
	for utf8.RuneCountInString(id) > longestID {
		_, id, _ = strings.Cut(id, "-")
	}
	for i := range p.parts[0] {
		if !strings.Contains(id, namedPart(i)) {
			return ""
		}
	}
	return cmp.Or(id, "probe") + "-" + letterOf(p.Measures)
}

// onlyMeasures tells whether a piece of a path says no more than what is measured.
func (p *Probe) onlyMeasures(segment string) bool {
	ws := split(segment)
	if len(ws) != 1 || !strings.EqualFold(ws[0], segment) {
		return false
	}
	s := vocabulary[ws[0]]
	return (s.kind == measured || s.kind == airWater) && s.quantity() == p.Measures ||
		s.kind == soil && p.Measures == farm.Moisture
}

// segments are the pieces of a topic or a pointer, fit for a name.
func segments(path string) []string {
	var out []string
	for piece := range strings.SplitSeq(path, "/") {
		piece = strings.Map(func(r rune) rune {
			if unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("-_.{}", r) {
				return unicode.ToLower(r)
			}
			return '-'
		}, piece)
		if piece = strings.Trim(piece, "-_."); piece != "" {
			out = append(out, piece)
		}
	}
	return out
}

var quotedPart = regexp.MustCompile(`\\\{[a-z]\\\}`)

// clashing lists the probes whose names the configuration could not tell apart:
// one that stands in is meant by another's name, or not by its own.
func clashing(probes []Probe) []int {
	exact, patterns := map[string]bool{}, map[int]*regexp.Regexp{}
	for i, p := range probes {
		if len(p.members) == 1 {
			exact[p.ID] = true
			continue
		}
		text := quotedPart.ReplaceAllLiteralString(regexp.QuoteMeta(p.ID), `([\pL\pN][\pL\pN._-]*?)`)
		patterns[i] = regexp.MustCompile("^" + text + "$")
	}
	unclear := func(i int, parts []string) bool {
		id := fill(probes[i].ID, parts)
		for j, pattern := range patterns {
			var match []string
			if begin, _, _ := strings.Cut(probes[j].ID, "{"); strings.HasPrefix(id, begin) {
				match = pattern.FindStringSubmatch(id)
			}
			if j == i && (match == nil || !slices.Equal(match[1:], parts)) || j != i && match != nil {
				return true
			}
		}
		return exact[id]
	}
	var out []int
	for i, p := range probes {
		if len(p.members) > 1 &&
			(p.ID == "" || slices.ContainsFunc(p.parts, func(parts []string) bool { return unclear(i, parts) })) {
			out = append(out, i)
		}
	}
	return out
}
