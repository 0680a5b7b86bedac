package config

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
	"binwatchd/internal/secret"
	"gopkg.in/yaml.v3"
)

// secretPlaces are where a secret may lie.
var secretPlaces = map[secret.Place]string{
	secret.File:       "A file that only its owner and group may read.",
	secret.Env:        "An environment variable.",
	secret.Credential: "Handed over by systemd: LoadCredential=NAME:PATH.",
}

// secretForm is one of three ways to say where a secret lies. A plain text is
// refused without repeating it.
func secretForm() form {
	const source, ways = "the source of a secret", "{file: PATH}, {env: NAME} or {credential: NAME}"
	in := func(place secret.Place) form {
		return scalar(source, "", func(s string) (secret.Secret, error) {
			if _, err := parseText(source)(s); err != nil {
				return secret.Secret{}, err
			}
			return secret.In(place, s)
		}, secret.Secret.String)
	}
	var forms []any
	for _, place := range []secret.Place{secret.File, secret.Env, secret.Credential} {
		forms = append(forms, schema{
			"type":                 "object",
			"properties":           schema{string(place): schema{"type": "string", "description": secretPlaces[place]}},
			"required":             []string{string(place)},
			"additionalProperties": false,
		})
	}
	return form{
		read: func(r *reader, n node, into reflect.Value) bool {
			if n.Kind == yaml.ScalarNode && !n.isNull() {
				r.problem(n.place(), "a secret does not stand in this file: write %s", ways)
				return false
			}
			pairs, ok := r.pairs(n, source+": "+ways)
			if !ok {
				return false
			}
			if len(pairs) != 1 || secretPlaces[secret.Place(pairs[0].name)] == "" {
				r.problem(n.place(), "a secret has one source: write %s", ways)
				return false
			}
			return in(secret.Place(pairs[0].name)).read(r, pairs[0].value, into)
		},
		write: func(_ marks, v reflect.Value) *yaml.Node {
			place, name := v.Interface().(secret.Secret).Source()
			return &yaml.Node{Kind: yaml.MappingNode, Style: yaml.FlowStyle, Content: []*yaml.Node{textNode(string(place)), textNode(name)}}
		},
		schema: schema{"oneOf": forms},
	}
}

// byQuantity holds a value for each of some quantities, by pointers so that the
// marks of values stay theirs.
type byQuantity[V any] map[farm.Quantity]*V

// at gives the value of a quantity, made if there is none.
func (values *byQuantity[V]) at(q farm.Quantity) *V {
	if *values == nil {
		*values = byQuantity[V]{}
	}
	if (*values)[q] == nil {
		(*values)[q] = new(V)
	}
	return (*values)[q]
}

// quantityFields makes the keys of a [byQuantity]: one for each quantity that may
// have limits. Those that may not have types of their own.
func quantityFields(f reflect.StructField) []field {
	var fields []field
	for i := range farm.Quantities {
		row := &farm.Quantities[i]
		if !row.Limits {
			continue
		}
		k := amountOf(row)
		if f.Type == reflect.TypeFor[byQuantity[farm.Band]]() {
			k = rangeOf(row)
		}
		fields = append(fields, field{
			name: string(row.Name), help: f.Tag.Get("help") + " " + row.Noun + ".", form: k,
			of: func(values reflect.Value, make bool) reflect.Value {
				return valueIn(values, reflect.ValueOf(row.Name), make)
			},
		})
	}
	return fields
}

// valueIn gives the value of a quantity in a [byQuantity].
func valueIn(values, q reflect.Value, make bool) reflect.Value {
	p := values.MapIndex(q)
	switch {
	case p.IsValid():
		return p.Elem()
	case !make:
		return reflect.Value{}
	case values.IsNil():
		values.Set(reflect.MakeMap(values.Type()))
	}
	p = reflect.New(values.Type().Elem().Elem())
	values.SetMapIndex(q, p)
	return p.Elem()
}

// amountOf is a value of a quantity that is all in its row.
func amountOf(row *farm.QuantityRow) form {
	parse := func(s string) (float64, error) { return quantity.ParseOf(row, s) }
	k := scalar("a value of "+row.Noun, row.Like, checked(parse, func(v float64) string { return unsayable(row, v) }),
		func(v float64) string { return quantity.FormatOf(row, v) })
	if row.Units[0].Suffix == "" { // a number is all there is to it
		k = plain(k)
		k.schema = schema{"type": []string{"number", "string"}, "examples": []any{row.Like}}
	}
	return k
}

// rangeOf is a range of such a quantity.
func rangeOf(row *farm.QuantityRow) form {
	parse := func(s string) (low, high float64, err error) { return quantity.ParseBandOf(row, s) }
	return band("a range of "+row.Noun, ".."+row.Like, parse, func(low, high float64) string { return quantity.FormatBandOf(row, low, high) },
		func(v float64) string { return unsayable(row, v) })
}

// unsayable says that no probe is believed at a value; an end that is left out is
// infinite.
func unsayable(row *farm.QuantityRow, v float64) string {
	if math.IsInf(v, 0) || v >= row.Range.Low && v <= row.Range.High {
		return ""
	}
	return fmt.Sprintf("%s is no %s that a probe can say, which is %s; is the unit right?",
		quantity.FormatOf(row, v), row.Noun, quantity.FormatBandOf(row, row.Range.Low, row.Range.High))
}

// unitsSaid lists the units of every quantity: "C or F for temperature".
func unitsSaid() string {
	var said []string
	for i := range farm.Quantities {
		all := farm.Quantities[i].AllUnits()
		if units := all[:len(all)-1]; len(units) > 1 { // without raw
			said = append(said, enumerateUnits(units)+" for "+farm.Quantities[i].Noun)
		}
	}
	return strings.Join(said, ", ")
}

// allUnits lists every unit of any quantity once, raw last.
func allUnits() []farm.Unit {
	var all []farm.Unit
	for i := range farm.Quantities {
		for _, u := range farm.Quantities[i].AllUnits() {
			if u != farm.RawUnit && !slices.Contains(all, u) {
				all = append(all, u)
			}
		}
	}
	return append(all, farm.RawUnit)
}
