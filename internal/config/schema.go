package config

import (
	"bytes"
	"encoding/json"
	"fmt"

	"gopkg.in/yaml.v3"
)

// A schema is a piece of JSON Schema (draft 2020-12). Go writes its keys in
// alphabetical order, so the same table gives the same bytes.
type schema map[string]any

// Schema gives a JSON Schema of the configuration for editors, made from the
// table by which files are read. It describes shapes, keys and words; what
// depends on several values only loading can tell.
func Schema() ([]byte, error) {
	top := with(file().schema, schema{
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

func sectionSchema[T any](fields []field[T]) schema {
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

func (f field[T]) describe() schema {
	more := schema{"description": f.doc}
	if f.fallback != "" {
		var fallback any
		if err := yaml.Unmarshal([]byte(f.fallback), &fallback); err == nil {
			more["default"] = fallback
		}
	}
	return with(f.schema, more)
}

// with copies a schema and adds to the copy: pieces of schema are shared.
func with(s, more schema) schema {
	out := schema{}
	for k, v := range s {
		out[k] = v
	}
	for k, v := range more {
		out[k] = v
	}
	return out
}

func secretSchema() schema {
	var forms []any
	for _, source := range []struct{ name, doc string }{
		{fromFile, "A file that only its owner and group may read."},
		{fromEnv, "An environment variable."},
		{fromCredential, "Handed over by systemd: LoadCredential=NAME:PATH."},
	} {
		forms = append(forms, schema{
			"type":                 "object",
			"properties":           schema{source.name: schema{"type": "string", "description": source.doc}},
			"required":             []string{source.name},
			"additionalProperties": false,
		})
	}
	return schema{"oneOf": forms}
}
