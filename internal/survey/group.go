package survey

import (
	"cmp"
	"maps"
	"path"
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

// A group is what look-alike values share. Topics that are kept apart have their
// names as skeletons.
type group struct {
	skeleton, pointer string
	told              told
}

// alike puts the values of all topics together that have the same skeleton and
// the same pointer, and makes a probe of each group; or one of each value where a
// group is to be kept apart, its topics differ in too many places, or a brace in
// their names or in the pointer would be taken for a named part.
func (s *Survey) alike(apart map[group]bool) (all []Probe, known int) {
	groups := map[group][]*topic{}
	said, only := s.elsewhere()
	for _, name := range slices.Sorted(maps.Keys(s.topics)) {
		t := s.topics[name]
		if only[name] {
			continue
		}
		for pointer := range t.values {
			if s.knows != nil && s.knows(name, pointer) {
				known++
				continue
			}
			g := group{t.skeleton, pointer, said[[2]string{name, pointer}]}
			if s.apart || apart[g] || t.device() != "" || strings.ContainsAny(name+pointer, "{}") {
				g.skeleton = name
			}
			groups[g] = append(groups[g], t)
		}
	}
	for g, members := range groups {
		size := len(members)
		if len(differing(members)) > len(partNames) {
			size = 1
		}
		for some := range slices.Chunk(members, size) {
			all = append(all, newProbe(g, some))
		}
	}
	slices.SortFunc(all, func(a, b Probe) int {
		return cmp.Or(cmp.Compare(a.members[0].name, b.members[0].name), cmp.Compare(a.Value, b.Value))
	})
	return all, known
}

// differing lists which of the pieces cut out of some topics differ.
func differing(members []*topic) (out []int) {
	for i, piece := range members[0].pieces {
		if slices.ContainsFunc(members, func(t *topic) bool { return t.pieces[i] != piece }) {
			out = append(out, i)
		}
	}
	return out
}

func newProbe(g group, members []*topic) Probe {
	p := Probe{
		Topic: members[0].skeleton, Value: g.pointer, group: g, members: members,
		parts: make([][]string, len(members)), heard: newValue(), why: map[string]string{},
	}
	differ := differing(members)
	for i, piece := range members[0].pieces {
		if n := slices.Index(differ, i); n >= 0 {
			piece = namedPart(n)
		}
		p.Topic = strings.Replace(p.Topic, "\x00", piece, 1)
	}
	for k, t := range members {
		for _, i := range differ {
			p.parts[k] = append(p.parts[k], t.pieces[i])
		}
		p.heard.add(t.values[g.pointer])
		p.Messages, p.Retained = p.Messages+t.messages, p.Retained+t.retained
	}
	return p
}

// identify gives each probe a name of its own, other than some.
func identify(probes []Probe, others []string) {
	here := func(p *Probe) [2]string { return [2]string{p.Topic, string(p.Measures)} }
	values, taken := map[[2]string]int{}, map[string]bool{}
	for _, name := range others {
		taken[name] = true
	}
	for i := range probes {
		values[here(&probes[i])]++
	}
	for i := range probes {
		p := &probes[i]
		id := p.name(values[here(p)] > 1)
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

// letters are what the name of a probe ends in; else the quantity.
var letters = map[farm.Quantity]string{
	farm.Temperature: "t", farm.Moisture: "m", farm.Battery: "b", farm.Humidity: "h", farm.Weight: "w", farm.Conductivity: "ec",
}

// name makes a name out of the topic: rack/{n}/temperature is rack-{n}-t. Where
// a topic carries several values of one quantity the pointer is named too. A device
// that people gave a name has that instead of the topic. It
// gives "" when the named parts don't fit in.
func (p *Probe) name(several bool) string {
	steps := segments(p.Topic)
	if last := len(steps) - 1; last > 0 && p.Value == "" && p.onlyMeasures(steps[last]) {
		steps = steps[:last]
	}
	inside := slices.DeleteFunc(segments(p.Value), p.onlyMeasures)
	if device := p.members[0].device(); device != "" {
		steps, inside = []string{device}, inside[max(len(inside)-1, 0):]
	}
	if several {
		steps = append(steps, inside...)
	}
	id := strings.Join(steps, "-")
	for utf8.RuneCountInString(id) > longestID {
		_, id, _ = strings.Cut(id, "-")
	}
	for i := range p.parts[0] {
		if !strings.Contains(id, namedPart(i)) {
			return ""
		}
	}
	return cmp.Or(id, "probe") + "-" + cmp.Or(letters[p.Measures], string(p.Measures))
}

// onlyMeasures tells whether a piece of a path says no more than what is measured.
func (p *Probe) onlyMeasures(segment string) bool {
	ws := split(segment)
	if len(ws) != 1 || !strings.EqualFold(ws[0], segment) {
		return false
	}
	s := vocabulary[ws[0]]
	return s.means == string(p.Measures) && (s.kind == measured || s.kind == air || s.kind == soil)
}

// segments are the pieces of a topic or a pointer, fit for a name.
func segments(of string) (out []string) {
	for piece := range strings.SplitSeq(of, "/") {
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

// keepApart adds the groups whose names the configuration could not tell apart: one
// that stands in is meant by another's name too. It tells whether there are any.
func keepApart(probes []Probe, others []string, apart map[group]bool) (found bool) {
	names, patterns := map[string]bool{}, map[int]string{}
	for _, name := range others {
		names[name] = true
	}
	for i, p := range probes {
		names[p.ID] = true
		if len(p.members) > 1 {
			patterns[i] = fill(p.ID, strings.Split("****", ""))
		}
	}
	for i := range patterns {
		unclear := slices.ContainsFunc(probes[i].parts, func(parts []string) bool {
			id := fill(probes[i].ID, parts)
			for j, pattern := range patterns {
				if meant, _ := path.Match(pattern, id); meant && j != i { // names hold nothing else that Match knows
					return true
				}
			}
			return names[id]
		})
		if unclear || probes[i].ID == "" {
			found, apart[probes[i].group] = true, true
		}
	}
	return found
}
