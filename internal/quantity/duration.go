package quantity

import (
	"math"
	"strings"
	"time"
)

// longest bounds a length of time: well over any a keeper plans with, and far
// from where a time.Duration overflows.
const longest = 100 * 365 * 24 * time.Hour

// ParseDuration reads a length of time such as 30m, 12h, 7d, 2w or 1h30m. A
// day is 24 hours. Parts come from long to short, each unit once.
func ParseDuration(s string) (time.Duration, error) {
	rest, total, last := s, time.Duration(0), math.Inf(1)
	for {
		v, word, wrong := number(rest, span)
		if wrong != nil {
			wrong.Text = Shortened(s)
			return 0, wrong
		}
		word, rest = cutWord(word)
		u, err := unitOf(s, v, word, span)
		if err != nil {
			return 0, err
		}
		seconds := u.inward(v)
		switch {
		case v < 0:
			return 0, newError(s, span.what, "it is negative")
		case u.times/u.over >= last:
			return 0, newError(s, span.what, "its parts go from long to short, as in 1h30m")
		case seconds+total.Seconds() > longest.Seconds():
			return 0, newError(s, span.what, "it is longer than a century")
		}
		total, last = total+time.Duration(math.Round(seconds*float64(time.Second))), u.times/u.over
		if rest == "" {
			return total, nil
		}
	}
}

// cutWord splits "h30m" into "h" and "30m".
func cutWord(s string) (word, rest string) {
	i := strings.IndexAny(s, "0123456789.+-− ")
	if i < 0 {
		return s, ""
	}
	return s[:i], strings.TrimSpace(s[i:])
}

// FormatDuration writes a length of time as ParseDuration reads it: 30m, 7d,
// 1h30m. It keeps nanoseconds; a negative length is written as 0s.
func FormatDuration(d time.Duration) string {
	if d <= 0 {
		return "0s"
	}
	var b strings.Builder
	for _, part := range []struct {
		length time.Duration
		symbol string
	}{{24 * time.Hour, "d"}, {time.Hour, "h"}, {time.Minute, "m"}} {
		if n := d / part.length; n > 0 {
			b.WriteString(decimal(float64(n)) + part.symbol)
			d -= n * part.length
		}
	}
	if d > 0 {
		b.WriteString(decimal(d.Seconds()) + "s")
	}
	return b.String()
}
