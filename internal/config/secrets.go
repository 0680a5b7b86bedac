package config

import (
	"reflect"
	"slices"

	"binwatchd/internal/secret"
	"gopkg.in/yaml.v3"
)

// secretForm is one of three ways to say where a secret lies. A plain text is
// refused without repeating it.
func secretForm() form {
	const ways = "{file: PATH}, {env: NAME} or {credential: NAME}"
	places := []secret.Place{secret.File, secret.Env, secret.Credential}
	name := scalarForm(textual("the source of a secret", "", parseText("the source of a secret")))
	return form{
		read: func(r *reader, n node, into reflect.Value) bool {
			if n.Kind == yaml.ScalarNode && n.ShortTag() != "!!null" {
				r.problem(n.place(), "a secret does not stand in this file: write %s", ways)
				return false
			}
			pairs, ok := r.pairs(n, "the source of a secret: "+ways)
			switch {
			case !ok:
				return false
			case len(pairs) != 1 || !slices.Contains(places, secret.Place(pairs[0].name)):
				r.problem(n.place(), "a secret has one source: write %s", ways)
				return false
			}
			var text string
			if !name.read(r, pairs[0].value, reflect.ValueOf(&text).Elem()) {
				return false
			}
			s, err := secret.In(secret.Place(pairs[0].name), text)
			if err != nil {
				r.problem(pairs[0].value.place(), "%v", err)
				return false
			}
			into.Set(reflect.ValueOf(s))
			return true
		},
		write: func(_ marks, v reflect.Value) *yaml.Node {
			place, name := v.Interface().(secret.Secret).Source()
			return &yaml.Node{Kind: yaml.MappingNode, Style: yaml.FlowStyle, Content: []*yaml.Node{textNode(string(place)), textNode(name)}}
		},
		schema: secretSchema(),
	}
}

func secretSchema() schema {
	var forms []any
	for _, source := range []struct {
		place secret.Place
		help  string
	}{
		{secret.File, "A file that only its owner and group may read."},
		{secret.Env, "An environment variable."},
		{secret.Credential, "Handed over by systemd: LoadCredential=NAME:PATH."},
	} {
		forms = append(forms, schema{
			"type":                 "object",
			"properties":           schema{string(source.place): schema{"type": "string", "description": source.help}},
			"required":             []string{string(source.place)},
			"additionalProperties": false,
		})
	}
	return schema{"oneOf": forms}
}
