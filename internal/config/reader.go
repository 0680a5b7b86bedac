package config

import (
	"fmt"
	"reflect"
	"strings"

	"gopkg.in/yaml.v3"
)

// A place is where something stands in the file, counted from 1. The zero
// place is that of a default, which stands nowhere.
type place struct{ line, column int }

func placeOf(n *yaml.Node) place { return place{max(n.Line, 1), max(n.Column, 1)} }

// A node is a YAML value together with the place of the key or the list item
// that holds it: a thing that is missing is reported there.
type node struct {
	*yaml.Node
	key place
}

func (n node) place() place { return placeOf(n.Node) }

func (n node) isNull() bool { return n.Kind == yaml.ScalarNode && n.ShortTag() == "!!null" }

// A reader collects the problems of one file.
type reader struct {
	marks
	file     string
	need     Need
	origin   string // of the values read: "" for the file's own
	problems []Problem
}

func (r *reader) problem(at place, format string, args ...any) {
	message := strings.Join(strings.Fields(fmt.Sprintf(format, args...)), " ")
	r.problems = append(r.problems, Problem{r.file, max(at.line, 1), max(at.column, 1), message})
}

// refuseUnneeded reports what YAML has and a configuration does not need.
// Aliases and merge keys make a value's place and its meaning differ, and can
// make a small file expand without end.
func (r *reader) refuseUnneeded(n *yaml.Node) {
	if n.Style&yaml.TaggedStyle != 0 {
		r.problem(placeOf(n), "tags such as !!str are not used here; remove the tag")
	}
	for i, child := range n.Content {
		inMapping, isKey := n.Kind == yaml.MappingNode, i%2 == 0
		switch {
		case child.Kind == yaml.AliasNode && !(inMapping && !isKey && isMerge(n.Content[i-1])):
			r.problem(placeOf(child), "aliases such as *%s are not used here; write the value out (many alike probes can share one entry with a named part, as in rack-{n})", child.Value)
		case inMapping && isKey && isMerge(child):
			r.problem(placeOf(child), "merge keys (<<) are not used here; write the keys out")
		}
		r.refuseUnneeded(child)
	}
}

func isMerge(key *yaml.Node) bool { return key.ShortTag() == "!!merge" }

// is tells whether a value is a mapping, a list or a single value, and reports one
// that is not; wanted says what it should be, with its article.
func (r *reader) is(kind yaml.Kind, n node, wanted string) bool {
	switch {
	case n.Kind == yaml.AliasNode: // reported already
	case n.isNull():
		r.problem(n.key, "nothing is given here; expected %s", wanted)
	case n.Kind != kind:
		r.problem(n.place(), "%s stands here; expected %s", kindOf(n), wanted)
	default:
		return true
	}
	return false
}

// pairs gives the keys and values of a mapping, each key once.
func (r *reader) pairs(n node, wanted string) (pairs []pair, ok bool) {
	if !r.is(yaml.MappingNode, n, wanted) {
		return nil, false
	}
	first := map[string]int{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, at := n.Content[i], placeOf(n.Content[i])
		switch line := first[k.Value]; {
		case isMerge(k): // reported already
		case !r.is(yaml.ScalarNode, node{k, at}, "a name"):
		case line > 0:
			r.problem(at, "%s is given twice; the first is on line %d", quoted(k.Value), line)
		default:
			first[k.Value] = k.Line
			pairs = append(pairs, pair{k.Value, at, node{n.Content[i+1], at}})
		}
	}
	return pairs, true
}

// A pair is one key of a mapping with its value.
type pair struct {
	name  string
	at    place
	value node
}

func kindOf(n node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "a mapping (key: value)"
	case yaml.SequenceNode:
		return "a list"
	}
	return "a single value"
}

// Marks say of each value where it stands in the file, by a pointer to it. What
// the file does not have and no default gives has none.
type marks map[any]mark

// A mark is what is known of a value beside itself.
type mark struct {
	at     place
	spoilt bool   // the file has the key and no right value: reported where it is read, not to be reported as missing too
	origin string // where a value comes from that the file does not have; "" for the file's own
}

// byDefault is the origin of a value that a tag supplies.
const byDefault = "default"

func pointer(v reflect.Value) any { return v.Addr().Interface() }

// at is where the value at p stands.
func (m marks) at(p any) place { return m[p].at }

// set tells whether there is a right value, be it the file's or a default.
func (m marks) set(p any) bool {
	x, found := m[p]
	return found && !x.spoilt
}

// present tells whether the key is there, even if its value is wrong.
func (m marks) present(p any) bool {
	_, found := m[p]
	return found
}

// spoilt tells whether the key is there and its value is wrong.
func (m marks) spoilt(p any) bool { return m[p].spoilt }

// given tells whether the file itself has the value.
func (m marks) given(p any) bool { return m.set(p) && m[p].origin == "" }

// or lets a default stand in for a value that was not given.
func or[V any](m marks, p *V, v V, origin string) {
	if !m.set(p) {
		*p, m[p] = v, mark{at: m[p].at, origin: origin}
	}
}

// fill gives a value and what is in it what is set in another of its kind, and not
// in it.
func (m marks) fill(onto, from reflect.Value, origin string) {
	if from.Kind() == reflect.Map { // a byQuantity
		for _, q := range from.MapKeys() {
			m.fill(valueIn(onto, q, true), from.MapIndex(q).Elem(), origin)
		}
		return
	}
	section := isSection(from.Type())
	if to := pointer(onto); m.set(pointer(from)) && !m.set(to) {
		m[to] = mark{at: m[to].at, origin: origin}
		if !section {
			onto.Set(from)
		}
	}
	for i := 0; section && i < from.NumField(); i++ {
		m.fill(onto.Field(i), from.Field(i), origin)
	}
}

// all marks whatever a section has, so that it is written whole: its numbers,
// and the texts and sections in it that aren't empty.
func (m marks) all(section reflect.Value) {
	for i := range section.NumField() {
		f := section.Field(i)
		if f.Kind() != reflect.Float64 && f.IsZero() {
			continue
		}
		m[pointer(f)] = mark{}
		if f.Kind() == reflect.Struct {
			m.all(f)
		}
	}
}
