package config

import (
	"fmt"
	"strings"
)

// wrongFilter tells what keeps a text from being a topic filter by MQTT 3.1.1
// (OASIS 2014) §4.7, or "". That it is not empty, holds no U+0000 and is far
// shorter than 65535 bytes, text has seen to.
func wrongFilter(s string) string {
	levels := strings.Split(s, "/")
	for i, level := range levels {
		switch {
		case strings.Contains(level, "#") && (level != "#" || i != len(levels)-1):
			return fmt.Sprintf("in the topic %s the # must stand alone at the end, after a slash", quoted(s))
		case strings.Contains(level, "+") && level != "+":
			return fmt.Sprintf("in the topic %s the + must stand alone between slashes", quoted(s))
		}
	}
	return ""
}

// wrongPrefix tells what keeps a text from being the beginning of topics.
func wrongPrefix(s string) string {
	switch {
	case strings.ContainsAny(s, "+#"):
		return "the prefix cannot hold + or #"
	case strings.HasPrefix(s, "/"), strings.HasSuffix(s, "/"), strings.HasPrefix(s, "$"):
		return "the prefix stands without a slash at its ends and without $, as in binwatch"
	}
	return wrongFilter(s)
}

// parsePointer checks a JSON Pointer by RFC 6901 §3: empty, or parts that each
// begin with a slash, in which ~ stands only as ~0 or ~1.
func parsePointer(s string) (string, error) {
	if s == "" {
		return s, nil
	}
	if !strings.HasPrefix(s, "/") {
		return "", fmt.Errorf("%s is not a JSON Pointer: it begins with a slash, as in /%s", quoted(s), strings.TrimPrefix(strings.ReplaceAll(shortened(s), ".", "/"), "$/"))
	}
	if len(s) > longestText {
		return "", fmt.Errorf("a JSON Pointer cannot be longer than %d bytes", longestText)
	}
	for i, c := range s {
		if c == '~' && (i+1 == len(s) || s[i+1] != '0' && s[i+1] != '1') {
			return "", fmt.Errorf("%s is not a JSON Pointer: ~ is written ~0 in it, and a slash inside a name ~1 (RFC 6901)", quoted(s))
		}
	}
	return s, nil
}
