package page

import (
	"slices"
	"time"
)

// A span is how long a picture looks back and ahead.
type span struct {
	key, name         string
	back, ahead, step time.Duration
	spread            bool
}

const day = 24 * time.Hour

var (
	// glance is the first page's: hours, which the journal has at hand.
	glance  = span{"", "", 2 * day, 12 * time.Hour, time.Hour, false}
	twoDays = span{"2d", "2 days", 2 * day, 12 * time.Hour, 30 * time.Minute, false}
	spans   = []span{
		twoDays,
		{"2w", "2 weeks", 14 * day, 3 * day, 2 * time.Hour, true},
		{"3mo", "3 months", 91 * day, 14 * day, 6 * time.Hour, true},
		{"1y", "a year", 365 * day, 30 * day, day, true},
	}
)

// spanOf finds the span an address asks for; two days where it asks for none.
func spanOf(key string) (span, error) {
	if key == "" {
		return twoDays, nil
	}
	i := slices.IndexFunc(spans, func(s span) bool { return s.key == key })
	if i < 0 {
		return span{}, badInput("There is no span %q; there are 2d, 2w, 3mo and 1y.", clip(key, 20))
	}
	return spans[i], nil
}

// A spanLink leads to one span.
type spanLink struct {
	Name, URL string
	Here      bool
}

// spanLinks lead to the same page over each span.
func spanLinks(page string, here span) []spanLink {
	var out []spanLink
	for _, s := range spans {
		out = append(out, spanLink{Name: s.name, URL: page + "?span=" + s.key, Here: s.key == here.key})
	}
	return out
}
