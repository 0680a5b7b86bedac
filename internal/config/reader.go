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
		isKey := n.Kind == yaml.MappingNode && i%2 == 0
		switch {
		case child.Kind == yaml.AliasNode && !r.isMergeValue(n, i):
			r.problem(placeOf(child), "aliases such as *%s are not used here; write the value out (many alike probes can share one entry with a named part, as in rack-{n})", child.Value)
		case isKey && child.ShortTag() == "!!merge":
			r.problem(placeOf(child), "merge keys (<<) are not used here; write the keys out")
		}
		r.refuseUnneeded(child)
	}
}

func (r *reader) isMergeValue(n *yaml.Node, i int) bool {
	return n.Kind == yaml.MappingNode && i%2 == 1 && n.Content[i-1].ShortTag() == "!!merge"
}

// scalar gives the text of a single value; wanted says what it should be, with
// its article.
func (r *reader) scalar(n node, wanted string) (string, bool) {
	switch {
	case n.Kind == yaml.AliasNode:
		return "", false // reported already
	case n.Kind != yaml.ScalarNode:
		r.problem(n.place(), "%s stands here; expected %s", kindOf(n), wanted)
		return "", false
	case n.ShortTag() == "!!null":
		r.problem(n.key, "nothing is given here; expected %s", wanted)
		return "", false
	}
	return n.Value, true
}

// contents gives the parts of a mapping or a list.
func (r *reader) contents(n node, kind yaml.Kind, wanted string) ([]*yaml.Node, bool) {
	switch {
	case n.Kind == kind:
		return n.Content, true
	case n.Kind == yaml.AliasNode: // reported already
	case n.Kind == yaml.ScalarNode && n.ShortTag() == "!!null":
		r.problem(n.key, "nothing is given here; expected %s", wanted)
	default:
		r.problem(n.place(), "%s stands here; expected %s", kindOf(n), wanted)
	}
	return nil, false
}

// pairs gives the keys and values of a mapping, each key once.
func (r *reader) pairs(n node, wanted string) (pairs []pair, ok bool) {
	content, ok := r.contents(n, yaml.MappingNode, wanted)
	first := map[string]int{}
	for i := 0; i+1 < len(content); i += 2 {
		k, v := content[i], content[i+1]
		if k.ShortTag() == "!!merge" || k.Kind == yaml.AliasNode {
			continue // reported already
		}
		name, isText := r.scalar(node{k, placeOf(k)}, "a name")
		if !isText {
			continue
		}
		if line, twice := first[name]; twice {
			r.problem(placeOf(k), "%s is given twice; the first is on line %d", quoted(name), line)
			continue
		}
		first[name] = k.Line
		pairs = append(pairs, pair{name, placeOf(k), node{v, placeOf(k)}})
	}
	return pairs, ok
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

// overlay copies from a section the values that are set.
func overlay[T any](m marks, from, onto *T) {
	m.copy(reflect.ValueOf(from).Elem(), reflect.ValueOf(onto).Elem())
}

func (m marks) copy(from, onto reflect.Value) {
	for i := range from.NumField() {
		f := from.Field(i)
		switch {
		case !m.set(pointer(f)):
		case isSection(f.Type()):
			m.copy(f, onto.Field(i))
		default:
			onto.Field(i).Set(f)
		}
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
