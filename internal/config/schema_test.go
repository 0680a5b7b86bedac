package config_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"binwatchd/internal/config"
	"gopkg.in/yaml.v3"
)

// A shape is a decoded JSON Schema: the part of draft 2020-12 that Schema
// uses.
type shape map[string]any

func schemaOf(t *testing.T) shape {
	t.Helper()
	text, err := config.Schema()
	if err != nil {
		t.Fatal(err)
	}
	var s shape
	if err := json.Unmarshal(text, &s); err != nil {
		t.Fatal(err)
	}
	return s
}

// wrong lists where a value breaks the schema.
func (s shape) wrong(at string, v any) []string {
	var out []string
	for _, key := range []string{"anyOf", "oneOf"} {
		if forms, ok := s[key].([]any); ok {
			return someForm(forms, at, v)
		}
	}
	all, _ := s["allOf"].([]any)
	for _, part := range all {
		rule := shape(part.(map[string]any))
		when := shape(rule["if"].(map[string]any))
		then := shape(rule["then"].(map[string]any))
		if len(when.wrong(at, v)) == 0 {
			out = append(out, then.wrong(at, v)...)
		}
	}
	if not, ok := s["not"].(map[string]any); ok && len(shape(not).wrong(at, v)) == 0 {
		return []string{at + ": is what it must not be"}
	}
	if one, ok := s["const"]; ok && one != v {
		return []string{fmt.Sprintf("%s: %v is not %v", at, v, one)}
	}
	if words, ok := s["enum"].([]any); ok && !slices.Contains(words, v) {
		return []string{fmt.Sprintf("%s: %v is none of %v", at, v, words)}
	}
	if !typed(s["type"], v) {
		return []string{fmt.Sprintf("%s: %v is not %v", at, v, s["type"])}
	}
	switch v := v.(type) {
	case map[string]any:
		out = append(out, s.wrongObject(at, v)...)
	case []any:
		items, _ := s["items"].(map[string]any)
		for i, x := range v {
			out = append(out, shape(items).wrong(fmt.Sprintf("%s[%d]", at, i), x)...)
		}
	}
	return out
}

func someForm(forms []any, at string, v any) []string {
	for _, f := range forms {
		if len(shape(f.(map[string]any)).wrong(at, v)) == 0 {
			return nil
		}
	}
	return []string{fmt.Sprintf("%s: %v has none of the forms", at, v)}
}

func typed(want, v any) bool {
	if want == nil {
		return true
	}
	kinds, ok := want.([]any)
	if !ok {
		kinds = []any{want}
	}
	kind := "string"
	switch v.(type) {
	case map[string]any:
		kind = "object"
	case []any:
		kind = "array"
	case int, float64:
		kind = "number"
	}
	return slices.Contains(kinds, any(kind))
}

func (s shape) wrongObject(at string, v map[string]any) []string {
	var out []string
	properties, _ := s["properties"].(map[string]any)
	required, _ := s["required"].([]any)
	for _, name := range required {
		if _, ok := v[name.(string)]; !ok {
			out = append(out, fmt.Sprintf("%s: %s is missing", at, name))
		}
	}
	names, _ := s["propertyNames"].(map[string]any)
	_, closed := s["additionalProperties"].(bool)
	for name, x := range v {
		out = append(out, shape(names).wrong(at+"."+name, name)...)
		part, known := properties[name].(map[string]any)
		others, open := s["additionalProperties"].(map[string]any)
		refused := properties[name] == false
		switch {
		case known:
			out = append(out, shape(part).wrong(at+"."+name, x)...)
		case open:
			out = append(out, shape(others).wrong(at+"."+name, x)...)
		case !closed && !refused:
		default:
			out = append(out, fmt.Sprintf("%s: %s is not a key", at, name))
		}
	}
	return out
}

func decoded(t *testing.T, text string) any {
	t.Helper()
	var v any
	if err := yaml.NewDecoder(bytes.NewReader([]byte(text))).Decode(&v); err != nil {
		t.Fatal(err)
	}
	return v
}

// What loads is right by the schema, also when it is shown in full.
func TestSchemaAcceptsWhatLoads(t *testing.T) {
	s := schemaOf(t)
	files, err := filepath.Glob("../../configs/*.yaml")
	if err != nil || len(files) < 2 {
		t.Fatalf("found %v, %v", files, err)
	}
	for _, path := range append(files, "testdata/contract.yaml", "testdata/base.yaml", "testdata/shown.yaml") {
		if wrong := s.wrong("", decoded(t, read(t, path))); len(wrong) > 0 {
			t.Errorf("%s:\n%s", path, strings.Join(wrong, "\n"))
		}
	}
}

// Of the mistakes that an editor can see, the schema refuses each.
func TestSchemaRefuses(t *testing.T) {
	visible := []string{
		"a misspelt key at the top", "a misspelt key in a probe", "no farm", "wrong units", "a list for a mapping",
		"a feed without a length of time", "a misspelt aim", "no aim", "a password in plain", "a password from two sources",
		"a password from elsewhere", "a misspelt urgency", "influx of a third flavour", "a misspelt quantity",
		"a unit that is none", "a share as a fraction", "a length of time without unit", "a raw word",
		"a unit of another quantity", "a point of another quantity", "low of a thermometer", "of of a thermometer",
	}
	s := schemaOf(t)
	seen := 0
	for _, e := range slices.Concat(keyEdits, quantityEdits, probeEdits, binEdits, serverEdits, tellEdits) {
		if !slices.Contains(visible, e.name) {
			continue
		}
		seen++
		if wrong := s.wrong("", decoded(t, replaced(t, e.old, e.new))); len(wrong) == 0 {
			t.Errorf("%s: the schema accepts\n%s", e.name, e.new)
		}
	}
	if seen != len(visible) {
		t.Errorf("%d mistakes were tried, %d are listed", seen, len(visible))
	}
}

// Every key has a sentence, for editors show it.
func TestSchemaDescribesEveryKey(t *testing.T) {
	keys := keysOf(schemaOf(t), "")
	if len(keys) < 80 {
		t.Fatalf("found only %d keys", len(keys))
	}
	for path, s := range keys {
		text, _ := s["description"].(string)
		if !strings.HasSuffix(text, ".") {
			t.Errorf("%s is described as %q", path, text)
		}
	}
}

// keysOf lists the keys of a schema by their path; names of the keeper's own
// are * in it.
func keysOf(s shape, at string) map[string]shape {
	keys := map[string]shape{}
	add := func(part any, at string) {
		if part, ok := part.(map[string]any); ok {
			for path, k := range keysOf(part, at) {
				keys[path] = k
			}
		}
	}
	properties, _ := s["properties"].(map[string]any)
	for name, part := range properties {
		if at == ".species" { // those of the table are the keeper's to change, as others are to name
			name = "*"
		}
		keys[at+"."+name] = part.(map[string]any)
		add(part, at+"."+name)
	}
	add(s["additionalProperties"], at+".*")
	add(s["items"], at)
	for _, key := range []string{"anyOf", "oneOf"} {
		forms, _ := s[key].([]any)
		for _, f := range forms {
			add(f, at)
		}
	}
	return keys
}

// A species of the keeper's own comes whole, one of the table in parts.
func TestSchemaKnowsTheTableOfSpecies(t *testing.T) {
	s := shape(schemaOf(t)["properties"].(map[string]any)["species"].(map[string]any))
	for _, tt := range []struct {
		text string
		ok   bool
	}{
		{"red: {temperature: {survive: 5C..32C}}", true},
		{"cellar: {temperature: {survive: 5C..32C}}", false},
		{"cellar: {temperature: {thrive: 15C..25C, survive: 4C..32C}, moisture: {thrive: 70%..85%, survive: 60%..90%}, cardinal: {min: 0C, best: 25C}}", false},
		{"cellar: {temperature: {thrive: 15C..25C, survive: 4C..32C}, moisture: {thrive: 70%..85%, survive: 60%..90%}, cardinal: {min: 0C, best: 25C, max: 35C}}", true},
	} {
		if wrong := s.wrong("", decoded(t, tt.text)); (len(wrong) == 0) != tt.ok {
			t.Errorf("%s: %v", tt.text, wrong)
		}
	}
}
