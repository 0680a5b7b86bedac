package config

import (
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/quantity"
	"gopkg.in/yaml.v3"
)

// A tag that is misspelt would be taken for none.
func TestTagsSayWhatTheyMay(t *testing.T) {
	known := []string{
		"yaml", "json", "kind", "list", "help", "need", "needrun", "default", "like", "words", "least", "most", "names", "of", "flavour",
	}
	keys := 0
	walk(reflect.TypeFor[File](), map[reflect.Type]bool{}, func(f reflect.StructField) {
		keys++
		for rest := strings.TrimSpace(string(f.Tag)); rest != ""; {
			name, _, _ := strings.Cut(rest, ":")
			value, ok := f.Tag.Lookup(name)
			if !ok || !slices.Contains(known, name) {
				t.Fatalf("%s: the tag %q is unknown", f.Name, name)
			}
			quoted := len(name) + 1 + len(quotedTag(value))
			rest = strings.TrimSpace(rest[quoted:])
		}
		if f.Type != reflect.TypeFor[time.Duration]() {
			return
		}
		for _, end := range []string{f.Tag.Get("least"), f.Tag.Get("most")} {
			if _, err := quantity.ParseDuration(end); err != nil {
				t.Errorf("%s: %v", f.Name, err)
			}
		}
	})
	if keys < 80 {
		t.Errorf("found only %d fields", keys)
	}
}

func quotedTag(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s) + `"`
}

// walk calls do with each tagged field of a type and of the types in it.
func walk(t reflect.Type, seen map[reflect.Type]bool, do func(reflect.StructField)) {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	if !isSection(t) || seen[t] {
		return
	}
	seen[t] = true
	for i := range t.NumField() {
		if f := t.Field(i); f.Tag.Get("yaml") != "" {
			do(f)
			walk(f.Type, seen, do)
		}
	}
}

// Every default, and every example of a key that must be there, is right.
func TestDefaultsAndExamplesAreRight(t *testing.T) {
	tried := 0
	try := func(what string, typ reflect.Type, in scope) {
		for _, f := range fieldsOf(typ, in) {
			for _, text := range []string{f.fallback, f.like} {
				if text == "" {
					continue
				}
				tried++
				var doc yaml.Node
				if err := yaml.Unmarshal([]byte(text), &doc); err != nil {
					t.Errorf("%s.%s: %v", what, f.name, err)
					continue
				}
				r := &reader{marks: marks{}}
				r.field(f, node{doc.Content[0], place{}}, reflect.New(typ).Elem())
				if len(r.problems) > 0 {
					t.Errorf("%s.%s: %v", what, f.name, r.problems)
				}
			}
		}
	}
	in := scope{kinds: allKinds()}
	try("file", reflect.TypeFor[File](), in)
	walk(reflect.TypeFor[File](), map[reflect.Type]bool{}, func(f reflect.StructField) {
		t := f.Type
		for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
			t = t.Elem()
		}
		if isSection(t) {
			try(f.Name, t, scope{kinds: in.kinds, of: f.Tag.Get("of")})
		}
	})
	if tried < 40 {
		t.Errorf("found only %d", tried)
	}
}
