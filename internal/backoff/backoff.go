// Package backoff says how long to wait before something that has failed is
// tried again, and waits.
package backoff

import (
	"context"
	"net/http"
	"strconv"
	"time"
)

// A Doubling wait is First after the first failure in a row, twice as long after
// each further one, and never longer than Most.
type Doubling struct{ First, Most time.Duration }

// After gives the wait after so many failures in a row, of which there is at
// least one.
func (d Doubling) After(failures int) time.Duration {
	wait := d.First
	for ; failures > 1 && wait < d.Most; failures-- {
		wait *= 2
	}
	return min(wait, d.Most)
}

// Pause waits; it is false when ctx ended first.
func Pause(ctx context.Context, wait time.Duration) bool {
	t := time.NewTimer(wait)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// RetryAfter reads how long a server asks to be left alone, in seconds or as a
// date (RFC 9110 §10.2.3), and believes it up to an hour. It is 0 where the
// server asks for nothing that can be read.
func RetryAfter(h http.Header, now time.Time) time.Duration {
	text := h.Get("Retry-After")
	var wait time.Duration
	if s, err := strconv.ParseUint(text, 10, 31); err == nil {
		wait = time.Duration(s) * time.Second
	} else if at, err := http.ParseTime(text); err == nil {
		wait = at.Sub(now)
	}
	return min(max(wait, 0), time.Hour)
}
