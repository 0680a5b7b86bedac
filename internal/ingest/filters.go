package ingest

import (
	"slices"
	"strings"
)

// matches tells whether a topic name matches a topic filter, as MQTT 3.1.1
// §4.7 has it: + stands for one level, # for the rest including none, and a
// wildcard in the first level does not match a topic that begins with $.
func matches(filter, topic string) bool {
	if strings.HasPrefix(topic, "$") && (strings.HasPrefix(filter, "+") || strings.HasPrefix(filter, "#")) {
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
// that covers both; it may match more topics than was asked for.
func disjoint(filters []string) []string {
	var out []string
	for _, f := range filters {
		out = addFilter(out, f)
	}
	return out
}

// addFilter joins f with every filter it overlaps. A joined filter may overlap
// others that its parts did not, so it starts over until nothing is left.
func addFilter(out []string, f string) []string {
	for {
		i := slices.IndexFunc(out, func(g string) bool { return overlap(f, g) })
		if i < 0 {
			return append(out, f)
		}
		f = joined(f, out[i])
		out = slices.Delete(out, i, i+1)
	}
}

// overlap tells whether some topic matches both filters.
func overlap(a, b string) bool {
	if dollar(a, b) || dollar(b, a) {
		return false
	}
	as, bs := strings.Split(a, "/"), strings.Split(b, "/")
	for i := 0; ; i++ {
		switch {
		case i < len(as) && as[i] == "#", i < len(bs) && bs[i] == "#":
			return true
		case i == len(as) || i == len(bs):
			return len(as) == len(bs)
		case as[i] != bs[i] && as[i] != "+" && bs[i] != "+":
			return false
		}
	}
}

// covers tells whether filter b matches every topic that filter a matches.
func covers(b, a string) bool { return overlap(a, b) && joined(a, b) == b }

// dollar tells whether a begins with $ and b with a wildcard: they never meet.
func dollar(a, b string) bool {
	return strings.HasPrefix(a, "$") && (strings.HasPrefix(b, "+") || strings.HasPrefix(b, "#"))
}

// joined is the narrowest filter that covers two overlapping ones.
func joined(a, b string) string {
	as, bs := strings.Split(a, "/"), strings.Split(b, "/")
	var out []string
	for i := 0; i < len(as) || i < len(bs); i++ {
		if i >= len(as) || i >= len(bs) || as[i] == "#" || bs[i] == "#" {
			return strings.Join(append(out, "#"), "/")
		}
		level := as[i]
		if level != bs[i] {
			level = "+"
		}
		out = append(out, level)
	}
	return strings.Join(out, "/")
}
