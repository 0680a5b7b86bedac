package page

import (
	"context"
	"slices"
	"sync"
	"time"

	"binwatchd/internal/farm"
)

// A curveKey names one curve of one length.
type curveKey struct {
	bin, zone string
	q         farm.Quantity
	step      time.Duration
}

// A curveCache keeps the samples behind the curves until their next step begins, so
// that a page of forty zones asks the journal for eighty curves once in half
// an hour and not at every look. What has happened since the last sample is
// the level's to show. Safe for concurrent use.
type curveCache struct {
	mu   sync.Mutex
	kept map[curveKey]keptCurve
}

type keptCurve struct {
	to      time.Time
	samples []farm.Sample // never changed once kept
}

// maxCurves bounds the cache; a farm of 200 zones fits.
const maxCurves = 2048

// samples gives the stretch of length back that ends with the step now is in.
func (c *curveCache) samples(ctx context.Context, h Curves, k curveKey, now time.Time, back time.Duration) ([]farm.Sample, error) {
	to := now.Truncate(k.step).Add(k.step)
	c.mu.Lock()
	got, ok := c.kept[k]
	c.mu.Unlock()
	if ok && got.to.Equal(to) {
		return got.samples, nil
	}
	samples, err := h.Samples(ctx, k.bin, k.zone, k.q, to.Add(-back), to, k.step)
	if err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.kept == nil || len(c.kept) >= maxCurves {
		c.kept = make(map[curveKey]keptCurve)
	}
	c.kept[k] = keptCurve{to, samples}
	return samples, nil
}

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
