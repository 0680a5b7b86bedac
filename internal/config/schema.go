package config

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"gopkg.in/yaml.v3"
)

// A schema is a piece of JSON Schema (draft 2020-12). Go writes its keys in
// alphabetical order, so the same table gives the same bytes.
type schema map[string]any

// Schema gives a JSON Schema of the configuration for editors, made from the
// table by which files are read. It describes shapes, keys and words; what
// depends on several values only loading can tell.
func Schema() ([]byte, error) {
	top := inside(fileForm().schema, "probes", func(probes schema) schema {
		return with(probes, schema{"additionalProperties": with(probes["additionalProperties"].(schema), schema{"allOf": rulesByMeasure()})})
	})
	top = with(inside(top, "species", ownSpecies), schema{
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

// inside changes what a schema says of one of its keys.
func inside(s schema, key string, change func(schema) schema) schema {
	all := s["properties"].(schema)
	return with(s, schema{"properties": with(all, schema{key: change(all[key].(schema))})})
}

// rulesByMeasure says what a probe may have by what it measures: the units of that
// quantity, points that say no other, and a limit of charge where it is a battery.
func rulesByMeasure() []any {
	battery := schema{"properties": schema{"measures": schema{"const": farm.Battery}}, "required": []string{"measures"}}
	rules := []any{schema{"if": schema{"not": battery}, "then": schema{"properties": schema{"low": false, "of": false}}}}
	for i := range farm.Quantities {
		row := &farm.Quantities[i]
		rules = append(rules, schema{
			"if": schema{"properties": schema{"measures": schema{"const": row.Name}}, "required": []string{"measures"}},
			"then": schema{"properties": schema{
				"unit":        schema{"enum": row.AllUnits()},
				"calibration": schema{"items": schema{"propertyNames": schema{"enum": []any{"raw", row.Name}}}},
			}},
		})
	}
	return rules
}

// ownSpecies says that a species outside the table comes whole: one of the table only
// with what the keeper knows better.
func ownSpecies(all schema) schema {
	entry, table := all["additionalProperties"].(schema), schema{}
	for _, s := range husbandry.Species() {
		table[s.ID] = with(entry, schema{"description": s.Name + ", as the table has them, but for what is given here."})
	}
	whole := with(entry, schema{"required": []string{"temperature", "moisture", "cardinal"}})
	for key, parts := range map[string][]string{"temperature": {"thrive", "survive"}, "moisture": {"thrive", "survive"}, "cardinal": {"min", "best", "max"}} {
		whole = inside(whole, key, func(s schema) schema { return with(s, schema{"required": parts}) })
	}
	return with(all, schema{"properties": table, "additionalProperties": whole})
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
