package ingest

import (
	"math"
	"strings"
	"time"
)

// How far a device's time stamp may lie from the time of arrival and still be
// believed. Common practice, no source: a probe may have kept its readings
// over an outage, and a clock may be a little fast.
const (
	longestBack  = 30 * 24 * time.Hour
	longestAhead = 10 * time.Minute
)

// earliestMillis tells seconds from milliseconds since 1970: as seconds it is
// the year 5138, as milliseconds 1973.
const earliestMillis = 1e11

// believable tells whether a device's time can be taken for true.
func believable(at, arrived time.Time) bool {
	d := arrived.Sub(at)
	return d <= longestBack && d >= -longestAhead
}

// stamp reads a device's time: RFC 3339, or seconds or milliseconds since
// 1970, also within quotes. Null and an empty text mean that the device gave
// none (given is false); ok is false when what is given can't be read.
func (f found) stamp() (at time.Time, given, ok bool) {
	switch f.kind {
	case absent, null:
		return time.Time{}, false, true
	case text:
		if s := strings.TrimSpace(string(f.raw)); s == "" {
			return time.Time{}, false, true
		} else if t, err := time.Parse(time.RFC3339, strings.ToUpper(s)); err == nil {
			return t.UTC().Truncate(time.Millisecond), true, true
		}
	}
	v, isNumber := f.number()
	if !isNumber || !(math.Abs(v) < 1e15) {
		return time.Time{}, true, false
	}
	if math.Abs(v) < earliestMillis {
		v *= 1000
	}
	return time.UnixMilli(int64(math.Floor(v))).UTC(), true, true
}
