package config

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"reflect"
	"strconv"
	"strings"

	"gopkg.in/yaml.v3"
)

// A schema is a piece of JSON Schema (draft 2020-12). Go writes its keys in
// alphabetical order, so the same table gives the same bytes.
type schema map[string]any

// Schema gives a JSON Schema of the configuration for editors, made from the
// table by which files are read. It describes shapes, keys and words; what
// depends on several values only loading can tell.
func Schema() ([]byte, error) {
	top := with(fileForm().schema, schema{
		"$schema":     "https://json-schema.org/draft/2020-12/schema",
		"title":       "binwatchd configuration",
		"description": "Bins, probes and who is told. Every quantity carries its unit: 17C, 61F, 70%, 2 L, 30m.",
	})
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	if err := enc.Encode(top); err != nil {
		return nil, fmt.Errorf("write the schema: %w", err)
	}
	return b.Bytes(), nil
}

func sectionSchema(fields []field) schema {
	properties, required := schema{}, []string{}
	for _, f := range fields {
		properties[f.name] = f.describe()
		if f.like != "" {
			required = append(required, f.name)
		}
	}
	s := schema{"type": "object", "properties": properties, "additionalProperties": false}
	if len(required) > 0 {
		s["required"] = required
	}
	return s
}

func (f field) describe() schema {
	more := schema{"description": f.help}
	if f.fallback != "" {
		var fallback any
		if err := yaml.Unmarshal([]byte(f.fallback), &fallback); err == nil {
			more["default"] = fallback
		}
	}
	return with(f.form.schema, more)
}

// with copies a schema and adds to the copy: pieces of schema are shared.
func with(s, more schema) schema {
	out := maps.Clone(s)
	maps.Copy(out, more)
	return out
}

// Show writes every value in force as YAML that loads to the same farm. What
// the file left out is there too, with a comment that says where it comes
// from. Of a secret only its source is shown.
func (c *Config) Show(w io.Writer) error {
	if _, err := fmt.Fprintln(w, "# Every value in force. What the file leaves out has a comment saying where it comes from."); err != nil {
		return err
	}
	enc := yaml.NewEncoder(w)
	enc.SetIndent(2)
	if err := enc.Encode(fileForm().write(c.loaded.marks, reflect.ValueOf(c.loaded.file).Elem())); err != nil {
		return fmt.Errorf("show configuration: %w", err)
	}
	return enc.Close()
}

// Wrong places what is found wrong with a value when it is put to use. key is
// where it stands in the file, such as broker.tls, mail.ca or tell[0]; what
// stands nowhere is placed at the beginning.
func (c *Config) Wrong(key string, err error) Problem {
	p := Problem{File: c.loaded.name, Line: 1, Column: 1, Message: strings.Join(strings.Fields(err.Error()), " ")}
	v := reflect.ValueOf(c.loaded.file).Elem()
	for name := range strings.SplitSeq(key, ".") {
		name, index, inList := strings.Cut(strings.TrimSuffix(name, "]"), "[")
		if v = reflect.Indirect(v); !v.IsValid() { // of a section that the file leaves out
			return p
		}
		at := fieldWith(v.Type(), func(key, _ string) bool { return key == name })
		if at < 0 {
			return p
		}
		v = v.Field(at)
		if i, err := strconv.Atoi(index); inList && err == nil && i < v.Len() {
			v = v.Index(i)
		}
	}
	if at := c.loaded.marks.at(pointer(v)); at.line > 0 {
		p.Line, p.Column = at.line, at.column
	}
	return p
}
