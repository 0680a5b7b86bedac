package config

import (
	"fmt"
	"unicode"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

// list is a YAML list; wanted says what it is, with its article.
func list[V any](wanted string, item codec[V]) codec[[]val[V]] {
	return codec[[]val[V]]{
		read: func(r *reader, n node) ([]val[V], bool) {
			content, ok := r.contents(n, yaml.SequenceNode, wanted)
			if ok && len(content) == 0 {
				r.problem(n.place(), "the list is empty; expected %s", wanted)
				return nil, false
			}
			return readItems(r, content, item), ok
		},
		write: func(items []val[V]) *yaml.Node {
			seq := &yaml.Node{Kind: yaml.SequenceNode}
			for _, x := range items {
				seq.Content = append(seq.Content, item.write(x.v))
			}
			return seq
		},
		schema: schema{"type": "array", "items": item.schema, "minItems": 1},
	}
}

func readItems[V any](r *reader, content []*yaml.Node, item codec[V]) []val[V] {
	var items []val[V]
	for _, c := range content {
		n := node{c, placeOf(c)}
		if v, ok := item.read(r, n); ok {
			items = append(items, val[V]{v: v, at: n.place(), set: true, origin: r.origin})
		}
	}
	return items
}

// oneOrMore is a list that may be written without brackets when it has one
// item.
func oneOrMore[V any](wanted string, item codec[V]) codec[[]val[V]] {
	many := list(wanted, item)
	return codec[[]val[V]]{
		read: func(r *reader, n node) ([]val[V], bool) {
			if n.Kind != yaml.ScalarNode || n.ShortTag() == "!!null" {
				return many.read(r, n)
			}
			items := readItems(r, []*yaml.Node{n.Node}, item)
			return items, len(items) == 1
		},
		write: func(items []val[V]) *yaml.Node {
			seq := many.write(items)
			seq.Style = yaml.FlowStyle
			return seq
		},
		schema: schema{"anyOf": []any{item.schema, many.schema}},
	}
}

// named is a mapping whose keys are names of the keeper's own, kept in the
// order of the file. wrongName says what is wrong with a name, or "".
func named[V any](wanted string, wrongName func(string) string, value codec[V]) codec[[]entry[V]] {
	return codec[[]entry[V]]{
		read: func(r *reader, n node) ([]entry[V], bool) {
			pairs, ok := r.pairs(n, wanted)
			if ok && len(n.Content) == 0 {
				r.problem(n.place(), "nothing is named here; expected %s", wanted)
				return nil, false
			}
			var entries []entry[V]
			for _, p := range pairs {
				if why := wrongName(p.name); why != "" {
					r.problem(p.at, "%s", why)
				}
				v, ok := value.read(r, p.value)
				entries = append(entries, entry[V]{p.name, p.at, !ok, v})
			}
			return entries, ok
		},
		write: func(entries []entry[V]) *yaml.Node {
			m := &yaml.Node{Kind: yaml.MappingNode}
			for _, e := range entries {
				addPair(m, e.name, value.write(e.v), "")
			}
			return m
		},
		schema: schema{"type": "object", "additionalProperties": value.schema, "minProperties": 1},
	}
}

// longestName bounds the names of bins, zones and probes, which become parts
// of topics, labels and addresses.
const longestName = 64

// wrongName tells what keeps a text from naming a bin, a zone, a probe, a
// species or a feed.
func wrongName(s string) string {
	switch {
	case s == "":
		return "a name cannot be empty"
	case utf8.RuneCountInString(s) > longestName:
		return fmt.Sprintf("the name %s is longer than %d characters", quoted(s), longestName)
	}
	for i, c := range s {
		letter := unicode.IsLetter(c) || unicode.IsDigit(c)
		if !letter && (i == 0 || c != '-' && c != '_' && c != '.') {
			return fmt.Sprintf("%s cannot be a name: it begins with a letter or digit and goes on with letters, digits, -, _ or .", quoted(s))
		}
	}
	return ""
}
