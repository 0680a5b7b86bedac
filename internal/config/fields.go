package config

import (
	"reflect"
	"slices"
	"strings"
	"sync"

	"binwatchd/internal/secret"
	"gopkg.in/yaml.v3"
)

// A form is how a Go type stands in YAML: how it is read, how it is written, and
// how a JSON Schema describes it. read reports its problems itself and tells
// whether the value is right.
type form struct {
	read   func(r *reader, n node, into reflect.Value) bool
	write  func(m marks, v reflect.Value) *yaml.Node
	schema schema
}

// A field is one key of a section: an exported field of a Go struct, with these
// tags:
//
//	yaml     its key. After a comma: "one" for a list that needs no brackets when
//	         it has one item; "flow" for what is written on one line; "inline" for
//	         a struct whose keys stand beside the others; "quantities" for a
//	         [byQuantity] whose keys do
//	kind     what a value of it is, with its article: a key of [kinds], the name
//	         of a section, or else a text of one line
//	list     what a list or a mapping of names is, with its article
//	help     one sentence for the schema
//	need     says that the key must be there, with an example
//	needrun  likewise, but a rehearsal does without it
//	default  the YAML that stands when the key is left out; "-" on a section says
//	         that none stand in it
//	like     an example of a text
//	words    what a word may be, parted by spaces
//	least    the shortest length of time
//	most     the longest
//	names    "templates" where the names of a mapping may hold named parts
//	of       what stands for a * in the kinds of the fields of its section
//
// A mapping of names that the keeper chooses is a slice of structs that have a
// field tagged ",name"; one tagged ",value" is what stands under the name when
// that is no section.
type field struct {
	name     string
	index    []int
	of       func(section reflect.Value, make bool) reflect.Value // where it is kept, if not at index; see quantityField
	help     string
	like     string
	onlyRun  bool
	fallback string
	node     func() *yaml.Node // fallback, parsed when it is first wanted
	form     form
}

// in gives the field of a section; the zero Value where there is none and none is
// to be made.
func (f field) in(section reflect.Value, make bool) reflect.Value {
	v := section.FieldByIndex(f.index)
	if f.of != nil {
		return f.of(v, make)
	}
	return v
}

// A scope is what fields take over from the section that they stand in.
type scope struct {
	kinds map[string]form
	of    string // stands for a * in their kinds
	bare  bool   // no defaults
}

// fieldsOf lists the keys of a section in the order of its fields.
func fieldsOf(t reflect.Type, in scope) []field {
	var fields []field
	for i := range t.NumField() {
		f := t.Field(i)
		name, option := yamlTag(f)
		inner := scope{in.kinds, in.of + f.Tag.Get("of"), in.bare || f.Tag.Get("default") == "-"}
		var keys []field
		switch {
		case option == "inline":
			keys = fieldsOf(f.Type, inner)
		case option == "quantities":
			keys = quantityFields(f)
		case name != "":
			g := field{
				name: name, help: strings.ReplaceAll(f.Tag.Get("help"), "{units}", unitsSaid()), like: f.Tag.Get("need"), fallback: f.Tag.Get("default"),
				form: formOf(f.Type, f.Tag, inner),
			}
			if run, ok := f.Tag.Lookup("needrun"); ok {
				g.like, g.onlyRun = run, true
			}
			if inner.bare {
				g.fallback = ""
			}
			g.node = sync.OnceValue(func() *yaml.Node {
				var doc yaml.Node
				if yaml.Unmarshal([]byte(g.fallback), &doc) != nil {
					return nil
				}
				return doc.Content[0]
			})
			keys = []field{g}
		}
		for _, g := range keys {
			g.index = append([]int{i}, g.index...)
			fields = append(fields, g)
		}
	}
	return fields
}

// fileForm is the form of a whole configuration.
func fileForm() form {
	return sectionForm(reflect.TypeFor[File](), "a configuration", "", scope{kinds: allKinds()})
}

func yamlTag(f reflect.StructField) (name, option string) {
	name, option, _ = strings.Cut(f.Tag.Get("yaml"), ",")
	return name, option
}

// formOf finds the form of a field by its type and its tags.
func formOf(t reflect.Type, tag reflect.StructTag, in scope) form {
	what := strings.ReplaceAll(tag.Get("kind"), "*", in.of)
	switch {
	case t == reflect.TypeFor[secret.Secret]():
		return secretForm()
	case t == reflect.TypeFor[shares]():
		return sharesForm(in)
	case t.Kind() == reflect.Pointer:
		return pointerForm(formOf(t.Elem(), tag, in))
	case t.Kind() == reflect.Slice && optionField(t.Elem(), "name") >= 0:
		return namedForm(t, what, tag, in)
	case t.Kind() == reflect.Slice:
		many := listForm(tag.Get("list"), formOf(t.Elem(), tag, in))
		if _, option := yamlTag(reflect.StructField{Tag: tag}); option == "one" {
			return oneOrMore(many, formOf(t.Elem(), tag, in))
		}
		return many
	case isSection(t):
		return sectionForm(t, what, tag, in)
	}
	return in.kindOf(t, what, tag)
}

// isSection tells whether a type is a mapping with fixed keys: a struct with
// tagged fields. Any other struct is a single value.
func isSection(t reflect.Type) bool {
	return fieldWith(t, func(key, option string) bool { return key+option != "" }) >= 0
}

// optionField is the index of the field of a struct that has this option in its
// yaml tag; -1 when there is none.
func optionField(t reflect.Type, option string) int {
	return fieldWith(t, func(key, o string) bool { return key == "" && o == option })
}

// fieldWith is the index of the first field of a struct with such a yaml tag.
func fieldWith(t reflect.Type, is func(key, option string) bool) int {
	for i := 0; t.Kind() == reflect.Struct && i < t.NumField(); i++ {
		if is(yamlTag(t.Field(i))) {
			return i
		}
	}
	return -1
}

// sectionForm is a mapping with fixed keys.
func sectionForm(t reflect.Type, what string, tag reflect.StructTag, in scope) form {
	fields := fieldsOf(t, in)
	_, option := yamlTag(reflect.StructField{Tag: tag})
	return form{
		read: func(r *reader, n node, into reflect.Value) bool {
			pairs, ok := r.pairs(n, "the keys of "+what)
			if ok {
				r.section(what, fields, pairs, n.key, into)
			}
			return ok
		},
		write: func(m marks, v reflect.Value) *yaml.Node {
			out := &yaml.Node{Kind: yaml.MappingNode}
			if option == "flow" {
				out.Style = yaml.FlowStyle
			}
			for _, f := range fields {
				if x := f.in(v, false); x.IsValid() && m.set(pointer(x)) {
					addPair(out, f.name, f.form.write(m, x), m[pointer(x)].origin)
				}
			}
			return out
		},
		schema: sectionSchema(fields),
	}
}

// section reads the keys of a section; at is where one that is missing is
// reported.
func (r *reader) section(what string, fields []field, pairs []pair, at place, into reflect.Value) {
	names := namesOf(fields, func(f field) string { return f.name })
	seen := map[string]bool{}
	for _, p := range pairs {
		name := p.name
		if i := slices.Index(names, name); i >= 0 {
			r.field(fields[i], p.value, into)
		} else {
			r.problem(p.at, "%s has no key %s: %s", what, quoted(name), hint(name, names))
			name = nearest(name, names) // meant, so not missing as well
		}
		seen[name] = true
	}
	for _, f := range fields {
		switch {
		case seen[f.name]:
		case f.like != "" && !(f.onlyRun && r.need == ForRehearsal):
			r.problem(at, "%s is missing here: %s needs it, for example %s: %s", f.name, what, f.name, f.like)
		case f.fallback != "":
			r.fallback(f, into)
		}
	}
}

func (r *reader) field(f field, n node, section reflect.Value) {
	v := f.in(section, true)
	ok := f.form.read(r, n, v)
	r.marks[pointer(v)] = mark{at: n.place(), spoilt: !ok, origin: r.origin}
}

// fallback reads a default as if the file had it. One that cannot be read would
// be found by the test that loads every one.
func (r *reader) fallback(f field, section reflect.Value) {
	if n := f.node(); n != nil {
		(&reader{origin: byDefault, marks: r.marks}).field(f, node{n, place{}}, section)
	}
}

// pointerForm is what may be left out as a whole.
func pointerForm(elem form) form {
	return form{
		read: func(r *reader, n node, into reflect.Value) bool {
			v := reflect.New(into.Type().Elem())
			into.Set(v)
			return elem.read(r, n, v.Elem())
		},
		write:  func(m marks, v reflect.Value) *yaml.Node { return elem.write(m, v.Elem()) },
		schema: elem.schema,
	}
}

// listForm is a YAML list; wanted says what it is, with its article.
func listForm(wanted string, item form) form {
	return form{
		read: func(r *reader, n node, into reflect.Value) bool {
			switch {
			case !r.is(yaml.SequenceNode, n, wanted):
				return false
			case len(n.Content) == 0:
				r.problem(n.place(), "the list is empty; expected %s", wanted)
				return false
			}
			readItems(r, n.Content, item, into)
			return true
		},
		write: func(m marks, v reflect.Value) *yaml.Node {
			seq := &yaml.Node{Kind: yaml.SequenceNode}
			for i := range v.Len() {
				seq.Content = append(seq.Content, item.write(m, v.Index(i)))
			}
			return seq
		},
		schema: schema{"type": "array", "items": item.schema, "minItems": 1},
	}
}

// readItems keeps the items that are right. The slice is never copied, so that
// the marks of its items stay theirs.
func readItems(r *reader, content []*yaml.Node, item form, into reflect.Value) {
	items := reflect.MakeSlice(into.Type(), len(content), len(content))
	kept := 0
	for _, c := range content {
		n := node{c, placeOf(c)}
		v := items.Index(kept)
		if item.read(r, n, v) {
			r.marks[pointer(v)] = mark{at: n.place(), origin: r.origin}
			kept++
		} else {
			v.SetZero()
		}
	}
	into.Set(items.Slice(0, kept))
}

// oneOrMore is a list that may be written without brackets when it has one
// item.
func oneOrMore(many, item form) form {
	return form{
		read: func(r *reader, n node, into reflect.Value) bool {
			if n.Kind != yaml.ScalarNode || n.isNull() {
				return many.read(r, n, into)
			}
			readItems(r, []*yaml.Node{n.Node}, item, into)
			return into.Len() == 1
		},
		write: func(m marks, v reflect.Value) *yaml.Node {
			seq := many.write(m, v)
			seq.Style = yaml.FlowStyle
			return seq
		},
		schema: schema{"anyOf": []any{item.schema, many.schema}},
	}
}

// namedForm is a mapping whose keys are names of the keeper's own, kept in the
// order of the file. An entry whose value is wrong keeps its name, so that what
// refers to it is not reported as well.
func namedForm(t reflect.Type, what string, tag reflect.StructTag, in scope) form {
	elem, wanted := t.Elem(), tag.Get("list")
	nameAt, valueAt := optionField(elem, "name"), optionField(elem, "value")
	valueOf := func(v reflect.Value) reflect.Value { return v }
	var value form
	if valueAt >= 0 {
		value = formOf(elem.Field(valueAt).Type, elem.Field(valueAt).Tag, in)
		valueOf = func(v reflect.Value) reflect.Value { return v.Field(valueAt) }
	} else {
		value = sectionForm(elem, what, "", in)
	}
	wrong := wrongName
	if tag.Get("names") == "templates" {
		wrong = wrongProbeName
	}
	return form{
		read: func(r *reader, n node, into reflect.Value) bool {
			pairs, ok := r.pairs(n, wanted)
			if ok && len(n.Content) == 0 {
				r.problem(n.place(), "nothing is named here; expected %s", wanted)
				return false
			}
			into.Set(reflect.MakeSlice(t, len(pairs), len(pairs)))
			for i, p := range pairs {
				if why := wrong(p.name); why != "" {
					r.problem(p.at, "%s", why)
				}
				v := into.Index(i)
				v.Field(nameAt).SetString(p.name)
				read := value.read(r, p.value, valueOf(v))
				r.marks[pointer(v)] = mark{at: p.at, spoilt: !read, origin: r.origin}
			}
			return ok
		},
		write: func(m marks, v reflect.Value) *yaml.Node {
			out := &yaml.Node{Kind: yaml.MappingNode}
			for i := range v.Len() {
				addPair(out, v.Index(i).Field(nameAt).String(), value.write(m, valueOf(v.Index(i))), "")
			}
			return out
		},
		schema: schema{"type": "object", "additionalProperties": value.schema, "minProperties": 1},
	}
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
