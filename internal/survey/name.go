package survey

import (
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"binwatchd/internal/farm"
)

// longestID is a little under the longest name that the configuration takes,
// so that a number fits behind.
const longestID = 56

var letters = map[farm.Quantity]string{farm.Temperature: "t", farm.Moisture: "m", farm.Battery: "b"}

// idOf names a probe after its topic: rack/{n}/temperature is rack-{n}-t. Where
// a topic carries several values of one quantity the pointer is named too. It
// gives "" when the named parts don't fit in.
func idOf(l likeness, q farm.Quantity, several bool) string {
	path := segments(l.topic)
	if last := len(path) - 1; last > 0 && l.pointer == "" && names(path[last], q) {
		path = path[:last]
	}
	if several {
		for _, s := range segments(l.pointer) {
			if !names(s, q) {
				path = append(path, s)
			}
		}
	}
	id := strings.Join(path, "-")
	for utf8.RuneCountInString(id) > longestID {
		_, rest, more := strings.Cut(id, "-")
		if !more {
			id = "probe"
			break
		}
		id = rest
	}
	if id == "" {
		id = "probe"
	}
	for _, part := range partsOf(l) {
		if !strings.Contains(id, "{"+part+"}") {
			return ""
		}
	}
	return id + "-" + letters[q]
}

// partsOf are the named parts of a likeness.
func partsOf(l likeness) []string { return slices.Sorted(maps.Keys(l.parts[0])) }

// names tells whether a piece of a path says no more than what is measured.
func names(segment string, q farm.Quantity) bool {
	ws := split(segment)
	return len(ws) == 1 && strings.EqualFold(ws[0], segment) && (meanings[ws[0]] == q || q == farm.Moisture && soils[ws[0]])
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

// distinct makes names differ by a number at their end.
func distinct(ids []string) {
	taken := map[string]bool{}
	for i, id := range ids {
		for n := 2; id != "" && taken[ids[i]]; n++ {
			ids[i] = id + "-" + strconv.Itoa(n)
		}
		taken[ids[i]] = true
	}
}

// A pattern is the name of a likeness as the configuration understands it.
type pattern struct {
	begin string // what stands before the first named part
	parts []string
	full  *regexp.Regexp // nil without named parts
}

var namedPart = regexp.MustCompile(`\{([a-z])\}`)

func newPattern(id string) pattern {
	var p pattern
	begin, _, more := strings.Cut(id, "{")
	if p.begin = begin; !more {
		return p
	}
	var text strings.Builder
	at := 0
	for _, m := range namedPart.FindAllStringSubmatchIndex(id, -1) {
		text.WriteString(regexp.QuoteMeta(id[at:m[0]]) + `([\pL\pN][\pL\pN._-]*?)`)
		p.parts = append(p.parts, id[m[2]:m[3]])
		at = m[1]
	}
	p.full = regexp.MustCompile("^" + text.String() + regexp.QuoteMeta(id[at:]) + "$")
	return p
}

// match tells what the named parts stand for in a probe's name; nil when the
// pattern does not mean it.
func (p pattern) match(id string) map[string]string {
	switch {
	case !strings.HasPrefix(id, p.begin):
		return nil
	case p.full == nil:
		if id == p.begin {
			return map[string]string{}
		}
		return nil
	}
	m := p.full.FindStringSubmatch(id)
	if m == nil {
		return nil
	}
	parts := map[string]string{}
	for i, name := range p.parts {
		parts[name] = m[i+1]
	}
	return parts
}

// clashing lists the likenesses whose probes could be meant by another's name,
// or not by their own: the configuration could not tell them apart.
func clashing(ids []string, all []likeness) []int {
	patterns := make([]pattern, len(ids))
	for i, id := range ids {
		patterns[i] = newPattern(id)
	}
	var out []int
	for i := range all {
		if len(all[i].members) > 1 && (ids[i] == "" || ambiguous(i, ids[i], all[i], patterns)) {
			out = append(out, i)
		}
	}
	return out
}

func ambiguous(i int, id string, l likeness, patterns []pattern) bool {
	for _, parts := range l.parts {
		one := fill(id, parts)
		for j, p := range patterns {
			got := p.match(one)
			if j == i && !maps.Equal(got, parts) || j != i && got != nil {
				return true
			}
		}
	}
	return false
}
