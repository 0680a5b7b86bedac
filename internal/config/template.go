package config

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// namedPart is a part of a probe's name or topic that stands for many.
var namedPart = regexp.MustCompile(`\{([a-z][a-z0-9_]*)\}`)

// A template is a name with named parts, such as rack-{n}-t, which stands for
// rack-1-t, rack-2-t and so on.
type template struct {
	parts   []string // as they occur; one may occur twice
	pattern *regexp.Regexp
}

func newTemplate(name string) template {
	t := template{parts: partsIn(name)}
	if len(t.parts) == 0 {
		return t // a plain name stands for itself alone
	}
	var pattern strings.Builder
	rest := name
	for _, loc := range namedPart.FindAllStringIndex(name, -1) {
		at := len(name) - len(rest)
		pattern.WriteString(regexp.QuoteMeta(name[at:loc[0]]) + `([\pL\pN][\pL\pN._-]*?)`)
		rest = name[loc[1]:]
	}
	t.pattern = regexp.MustCompile("^" + pattern.String() + regexp.QuoteMeta(rest) + "$")
	return t
}

// partsIn lists the named parts of a text.
func partsIn(s string) []string {
	var parts []string
	for _, m := range namedPart.FindAllStringSubmatch(s, -1) {
		parts = append(parts, m[1])
	}
	return parts
}

// match tells what the named parts stand for in a name; ok is false when the
// template does not stand for it, as when it has no named part.
func (t template) match(name string) (parts map[string]string, ok bool) {
	if t.pattern == nil {
		return nil, false
	}
	m := t.pattern.FindStringSubmatch(name)
	if m == nil {
		return nil, false
	}
	parts = map[string]string{}
	for i, part := range t.parts {
		if old, twice := parts[part]; twice && old != m[i+1] {
			return nil, false
		}
		parts[part] = m[i+1]
	}
	return parts, true
}

// fill puts what the named parts stand for into a text; parts it does not know
// stay.
func fill(s string, parts map[string]string) string {
	return namedPart.ReplaceAllStringFunc(s, func(part string) string {
		if v, ok := parts[part[1:len(part)-1]]; ok {
			return v
		}
		return part
	})
}

func wrongProbeName(s string) string {
	bare := namedPart.ReplaceAllString(s, "x")
	if strings.ContainsAny(bare, "{}") {
		return fmt.Sprintf("%s cannot be a name: a named part is small letters in braces, as in rack-{n}-t", quoted(s))
	}
	return wrongName(bare)
}

// wrongParts checks that a probe's name and its topic have the same named
// parts. A part may also stand in value, where one message carries many.
func wrongParts(name, topic, value string) string {
	inName := partsIn(name)
	for _, part := range partsIn(topic) {
		if !slices.Contains(inName, part) {
			return fmt.Sprintf("the topic has the named part {%s} and the probe's name has not: many probes would share one name", part)
		}
	}
	for _, part := range inName {
		if !strings.Contains(topic+value, "{"+part+"}") {
			return fmt.Sprintf("the probe's name has the named part {%s} and its topic has not: all of them would read the same", part)
		}
	}
	return ""
}
