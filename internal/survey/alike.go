package survey

import (
	"cmp"
	"regexp"
	"slices"
	"strings"
)

// A likeness is one value of one topic, or of several topics that differ only
// in numbers or in the numbers of devices.
type likeness struct {
	topic   string // with named parts where several are meant: rack/{n}/t
	pointer string
	members []*topic
	parts   []map[string]string // by member: what the named parts stand for
	channel channel             // what all of them said
}

// partNames are the names that named parts get. What differs in more places than
// this is not called alike.
var partNames = []string{"n", "m", "k", "l"}

// variable finds what may differ between look-alike topics: runs of digits,
// and words that are the hexadecimal number of a device.
var (
	words  = regexp.MustCompile(`[\pL\pN]+`)
	digits = regexp.MustCompile(`\pN+`)
	hex    = regexp.MustCompile(`^[0-9a-fA-F]{6,}$`)
)

// A cut topic is a topic with its variable pieces taken out.
type cutTopic struct {
	fixed    []string // one more than pieces
	variable []string
}

func cut(topic string) cutTopic {
	var c cutTopic
	from := 0
	take := func(a, b int) {
		c.fixed = append(c.fixed, topic[from:a])
		c.variable = append(c.variable, topic[a:b])
		from = b
	}
	for _, w := range words.FindAllStringIndex(topic, -1) {
		word := topic[w[0]:w[1]]
		if hex.MatchString(word) && digits.MatchString(word) {
			take(w[0], w[1])
			continue
		}
		for _, d := range digits.FindAllStringIndex(word, -1) {
			take(w[0]+d[0], w[0]+d[1])
		}
	}
	c.fixed = append(c.fixed, topic[from:])
	return c
}

// skeleton is the same for look-alike topics and for no others.
func (c cutTopic) skeleton() string { return strings.Join(c.fixed, "\x00") }

// alike puts the values of all topics together that have the same skeleton and
// the same pointer.
func alike(topics []*topic) []likeness {
	type likes struct{ skeleton, pointer string }
	kin := map[likes][]*topic{} // by name, as topics are
	for _, t := range topics {
		for pointer := range t.channels {
			key := likes{cut(t.name).skeleton(), pointer}
			kin[key] = append(kin[key], t)
		}
	}
	var all []likeness
	for key, members := range kin {
		all = append(all, joined(members, key.pointer)...)
	}
	return sortLikenesses(all)
}

func sortLikenesses(all []likeness) []likeness {
	slices.SortFunc(all, func(a, b likeness) int {
		return cmp.Or(cmp.Compare(a.members[0].name, b.members[0].name), cmp.Compare(a.pointer, b.pointer))
	})
	return all
}

// joined makes one likeness of topics that share a skeleton; or one of each
// where they differ in too many places, or a brace in them or in the pointer
// would be taken for a named part.
func joined(members []*topic, pointer string) []likeness {
	first := cut(members[0].name)
	var differ []int
	for i := range first.variable {
		if slices.ContainsFunc(members, func(t *topic) bool { return cut(t.name).variable[i] != first.variable[i] }) {
			differ = append(differ, i)
		}
	}
	if len(members) == 1 || len(differ) > len(partNames) || strings.ContainsAny(members[0].name+pointer, "{}") {
		return single(members, pointer)
	}
	l := likeness{pointer: pointer, members: members}
	for i, f := range first.fixed {
		l.topic += f
		if i < len(first.variable) {
			l.topic += pieceOf(first.variable[i], slices.Index(differ, i))
		}
	}
	for _, t := range members {
		parts := map[string]string{}
		for k, i := range differ {
			parts[partNames[k]] = cut(t.name).variable[i]
		}
		l.parts = append(l.parts, parts)
	}
	l.sum()
	return []likeness{l}
}

// pieceOf is a variable piece as it stands in a topic with named parts.
func pieceOf(piece string, part int) string {
	if part < 0 {
		return piece
	}
	return "{" + partNames[part] + "}"
}

// single makes a likeness of each topic.
func single(members []*topic, pointer string) []likeness {
	var all []likeness
	for _, t := range members {
		l := likeness{topic: t.name, pointer: pointer, members: []*topic{t}, parts: []map[string]string{{}}}
		l.sum()
		all = append(all, l)
	}
	return all
}

// sum puts together what all members said.
func (l *likeness) sum() {
	l.channel = *l.members[0].channels[l.pointer]
	for _, t := range l.members[1:] {
		c := t.channels[l.pointer]
		l.channel.numbers += c.numbers
		l.channel.sound += c.sound
		l.channel.faults += c.faults
		l.channel.misdated += c.misdated
		l.channel.low, l.channel.high = min(l.channel.low, c.low), max(l.channel.high, c.high)
		l.channel.whole = l.channel.whole && c.whole
		l.channel.stamps = append(slices.Clip(l.channel.stamps), c.stamps...)
	}
}

// fill puts what the named parts stand for into a text.
func fill(s string, parts map[string]string) string {
	for name, v := range parts {
		s = strings.ReplaceAll(s, "{"+name+"}", v)
	}
	return s
}
