package config

import (
	"bytes"

	"gopkg.in/yaml.v3"
)

// A val is a value with its place in the file. It is set when the file gives
// it or a default stands in; origin then says where a default comes from. It
// is spoilt when the file has the key and no right value: that is reported
// where it is read, and must not be reported as missing too.
type val[V any] struct {
	v      V
	at     place
	set    bool
	spoilt bool
	origin string
}

// or lets a default stand in for a value that was not given.
func (x *val[V]) or(v V, origin string) {
	if !x.set {
		*x = val[V]{v: v, set: true, origin: origin}
	}
}

// given tells whether the file itself has the value.
func (x val[V]) given() bool { return x.set && x.origin == "" }

// present tells whether the key is there, even if its value is wrong.
func (x val[V]) present() bool { return x.set || x.spoilt }

// An entry is a value under a name of the keeper's own. A spoilt one keeps its
// name, so that what refers to it is not reported as well.
type entry[V any] struct {
	name   string
	at     place
	spoilt bool
	v      V
}

// A codec is one kind of value: how it is read, how it is written, and how a
// JSON Schema describes it. read reports its problems itself.
type codec[V any] struct {
	read   func(r *reader, n node) (V, bool)
	write  func(v V) *yaml.Node
	schema schema
}

// A field is one key of a section whose Go form is T.
type field[T any] struct {
	name     string
	doc      string // one sentence for the schema
	like     string // for a key that must be there: an example
	onlyRun  bool   // a rehearsal does without it
	fallback string // what stands when it is left out, as YAML; "" for nothing
	read     func(r *reader, n node, into *T)
	write    func(from *T) (n *yaml.Node, origin string)
	schema   schema
}

// key makes a field that keeps its value where ptr points.
func key[T, V any](name, doc string, c codec[V], ptr func(*T) *val[V]) field[T] {
	return field[T]{
		name: name, doc: doc, schema: c.schema,
		read: func(r *reader, n node, into *T) {
			v, ok := c.read(r, n)
			*ptr(into) = val[V]{v: v, at: n.place(), set: ok, spoilt: !ok, origin: r.origin}
		},
		write: func(from *T) (*yaml.Node, string) {
			x := ptr(from)
			if !x.set {
				return nil, ""
			}
			return c.write(x.v), x.origin
		},
	}
}

// needed says that the key must be there; like is an example for the message.
func (f field[T]) needed(like string) field[T] {
	f.like = like
	return f
}

// neededToRun is needed, but not by a rehearsal.
func (f field[T]) neededToRun(like string) field[T] {
	f.like, f.onlyRun = like, true
	return f
}

// defaults gives the YAML that stands in when the key is left out.
func (f field[T]) defaults(yamlText string) field[T] {
	f.fallback = yamlText
	return f
}

// byDefault is the origin of a value that the table of keys supplies.
const byDefault = "default"

// section is a mapping with fixed keys; what names it with its article.
func section[T any](what string, fields []field[T]) codec[T] {
	return codec[T]{
		read: func(r *reader, n node) (T, bool) {
			var t T
			pairs, ok := r.pairs(n, "the keys of "+what)
			if !ok {
				return t, false
			}
			readFields(r, what, fields, pairs, n.key, &t)
			return t, true
		},
		write:  func(t T) *yaml.Node { return writeFields(fields, &t) },
		schema: sectionSchema(fields),
	}
}

func readFields[T any](r *reader, what string, fields []field[T], pairs []pair, at place, t *T) {
	seen := map[string]bool{}
	for _, p := range pairs {
		seen[p.name] = true
		f, known := fieldByName(fields, p.name)
		if !known {
			r.problem(p.at, "%s has no key %s: %s", what, quoted(p.name), hint(p.name, namesOf(fields)))
			seen[nearest(p.name, namesOf(fields))] = true // meant, so not missing as well
			continue
		}
		f.read(r, p.value, t)
	}
	for _, f := range fields {
		switch {
		case seen[f.name]:
		case f.like != "" && !(f.onlyRun && r.need == ForRehearsal):
			r.problem(at, "%s is missing here: %s needs it, for example %s: %s", f.name, what, f.name, f.like)
		case f.fallback != "":
			readFallback(f, t)
		}
	}
}

// readFallback reads a default as if the file had it. A default of the table
// that cannot be read would be found by the test that loads every one.
func readFallback[T any](f field[T], t *T) {
	var doc yaml.Node
	if err := yaml.NewDecoder(bytes.NewReader([]byte(f.fallback))).Decode(&doc); err == nil {
		f.read(&reader{origin: byDefault}, node{doc.Content[0], place{}}, t)
	}
}

func fieldByName[T any](fields []field[T], name string) (field[T], bool) {
	for _, f := range fields {
		if f.name == name {
			return f, true
		}
	}
	return field[T]{}, false
}

func namesOf[T any](fields []field[T]) []string {
	names := make([]string, len(fields))
	for i, f := range fields {
		names[i] = f.name
	}
	return names
}

func writeFields[T any](fields []field[T], t *T) *yaml.Node {
	m := &yaml.Node{Kind: yaml.MappingNode}
	for _, f := range fields {
		if v, origin := f.write(t); v != nil {
			addPair(m, f.name, v, origin)
		}
	}
	return m
}

// small writes a section on one line, where its comments allow that.
func small[T any](c codec[T]) codec[T] {
	write := c.write
	c.write = func(v T) *yaml.Node {
		n := write(v)
		n.Style = yaml.FlowStyle
		return n
	}
	return c
}

// addPair appends a key and its value to a mapping, with the origin as a
// comment behind it. The parts of the value need not repeat it.
func addPair(m *yaml.Node, name string, v *yaml.Node, origin string) {
	k := textNode(name)
	k.LineComment = origin
	commented := false
	for _, part := range v.Content {
		if part.LineComment == origin {
			part.LineComment = ""
		}
		commented = commented || part.LineComment != ""
	}
	if v.Kind == yaml.MappingNode && commented {
		v.Style = 0 // a comment ends its line
	}
	if v.Kind == yaml.ScalarNode || v.Style == yaml.FlowStyle {
		k.LineComment, v.LineComment = "", origin
	}
	m.Content = append(m.Content, k, v)
}
