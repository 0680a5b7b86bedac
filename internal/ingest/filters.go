package ingest

import (
	"slices"
	"strings"
)

// matches tells whether a topic name matches a topic filter, as MQTT 3.1.1
// §4.7 has it: + stands for one level, # for the rest including none, and a
// wildcard in the first level does not match a topic that begins with $.
func matches(filter, topic string) bool {
	if dollar(topic, filter) {
		return false
	}
	for {
		f, fRest, fMore := strings.Cut(filter, "/")
		if f == "#" {
			return true
		}
		t, tRest, tMore := strings.Cut(topic, "/")
		if f != "+" && f != t {
			return false
		}
		if !tMore {
			return !fMore || fRest == "#"
		}
		if !fMore {
			return false
		}
		filter, topic = fRest, tRest
	}
}

// disjoint makes topic filters of which no two match one topic, so that no
// broker can deliver a message twice. Filters that overlap are joined into one
// that covers both; it may match more topics than was asked for, and overlap
// others that its parts did not.
func disjoint(filters []string) (out []string) {
	for _, f := range filters {
		for i := 0; i < len(out); i++ {
			if both, ok := joined(f, out[i]); ok {
				f, out, i = both, slices.Delete(out, i, i+1), -1 // from the first on
			}
		}
		out = append(out, f)
	}
	return out
}

// covers tells whether filter b matches every topic that filter a matches.
func covers(b, a string) bool {
	both, ok := joined(a, b)
	return ok && both == b
}

// joined is the narrowest filter that covers two; ok is false where no topic
// matches both of them.
func joined(a, b string) (both string, ok bool) {
	if dollar(a, b) || dollar(b, a) {
		return "", false
	}
	as, bs := strings.Split(a, "/"), strings.Split(b, "/")
	var out []string
	for i := 0; ; i++ {
		switch {
		case i < len(as) && as[i] == "#", i < len(bs) && bs[i] == "#":
			return strings.Join(append(out, "#"), "/"), true
		case i == len(as) || i == len(bs):
			return strings.Join(out, "/"), len(as) == len(bs)
		case as[i] == bs[i]:
			out = append(out, as[i])
		case as[i] == "+" || bs[i] == "+":
			out = append(out, "+")
		default:
			return "", false
		}
	}
}

// dollar tells whether a begins with $ and b with a wildcard: they never meet.
func dollar(a, b string) bool { return strings.HasPrefix(a, "$") && strings.IndexAny(b, "+#") == 0 }
