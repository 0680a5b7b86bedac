package ingest

import (
	"bytes"
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// longestNumber is how many bytes of a number are looked at: a float64 written out
// in full has fewer.
const longestNumber = 400

// parseNumber reads a decimal number with white space around it, as strconv
// does, and the words by which devices print what is none: nan and inf. Hex
// and digit separators are not numbers here.
func parseNumber(b []byte) (v float64, ok bool) {
	b = bytes.TrimSpace(b)
	if len(b) > longestNumber {
		return 0, false
	}
	for _, c := range b {
		if (c < '0' || c > '9') && strings.IndexByte("+-.eE", c) < 0 {
			return parseNoNumber(string(b))
		}
	}
	v, err := strconv.ParseFloat(string(b), 64)
	return v, err == nil || math.IsInf(v, 0) // too large a number is infinite, and doubted as that
}

// parseNoNumber reads the words of C, Python and JavaScript for values that
// are no numbers.
func parseNoNumber(s string) (float64, bool) {
	switch strings.ToLower(s) {
	case "nan", "-nan":
		return math.NaN(), true
	case "inf", "infinity":
		return math.Inf(1), true
	case "-inf", "-infinity":
		return math.Inf(-1), true
	}
	return 0, false
}

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

// Believable tells whether a device's time stamp can be taken for true in a message
// that arrived at a time.
func Believable(at, arrived time.Time) bool {
	d := arrived.Sub(at)
	return d <= longestBack && d >= -longestAhead
}

// stamp reads a device's time: RFC 3339, or seconds or milliseconds since
// 1970, also within quotes. One that says no zone is of the farm's (nil: UTC), by
// what the clocks show near the time of arrival. Null and an empty text mean that the
// device gave none (given is false); ok is false when what is given can't be read.
func (f jsonValue) stamp(zone *time.Location, arrived time.Time) (at time.Time, given, ok bool) {
	switch f.kind {
	case absent, null:
		return time.Time{}, false, true
	case text:
		if s := strings.TrimSpace(string(f.raw)); s == "" {
			return time.Time{}, false, true
		} else if t, err := time.Parse(time.RFC3339, strings.ToUpper(s)); err == nil {
			return t.UTC().Truncate(time.Millisecond), true, true
		} else if t, ok := wallClock(s, cmp.Or(zone, time.UTC), arrived); ok {
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

// wallClock reads a time without a zone. In the hour that the clocks show twice in
// autumn it is the one nearer to another time.
func wallClock(s string, zone *time.Location, near time.Time) (at time.Time, ok bool) {
	s = strings.Replace(strings.ToUpper(s), " ", "T", 1)
	const layout = "2006-01-02T15:04:05" // takes parts of a second too
	at, err := time.ParseInLocation(layout, s, zone)
	if err != nil {
		return at, false
	}
	for _, other := range []time.Time{at.Add(-time.Hour), at.Add(time.Hour)} {
		if !near.IsZero() && other.Format(layout) == at.Format(layout) && near.Sub(other).Abs() < near.Sub(at).Abs() {
			return other, true
		}
	}
	return at, true
}

// earliestStamp, in seconds since 1970, tells times from readings: the smallest
// of ten digits, a day in 2001.
const earliestStamp = 1e9

// A Leaf is one value inside a payload, found without knowing what to look
// for.
type Leaf struct {
	Pointer string    // JSON Pointer (RFC 6901); "" for a payload that is one value
	Text    string    // as it stands there, without quotes, cut after 128 bytes
	Number  float64   // NaN where it is none
	Unit    farm.Unit // that stands behind the number, as in "21.5 °C"; "" for none
	Time    time.Time // when it reads as a device's time since 2001; else zero
}

// Leaves finds every value in a payload, by pointer: a number of its own, a
// JSON text, or words that are neither. A [Decoder] asked for a leaf's pointer
// reads the same number and the same time, in the farm's zone where it says none. It
// gives none for a payload that is empty or larger than a Decoder would look at.
func Leaves(payload []byte, zone *time.Location) []Leaf {
	body := bytes.TrimSpace(payload)
	if len(body) == 0 || len(payload) > maxPayload {
		return nil
	}
	x, t := lexer{b: body, all: true}, newTree()
	if !x.read(t.root) {
		return []Leaf{newLeaf("", jsonValue{kind: text, raw: unquoted(body)}, zone)}
	}
	leaves := t.root.leaves("", x.out, zone, nil)
	slices.SortFunc(leaves, func(a, b Leaf) int { return cmp.Compare(a.Pointer, b.Pointer) })
	return leaves
}

// leaves adds what was found at a node, and below it, to some leaves.
func (n *node) leaves(at string, found []jsonValue, zone *time.Location, some []Leaf) []Leaf {
	if n.slot >= 0 && found[n.slot].kind != absent {
		some = append(some, newLeaf(at, found[n.slot], zone))
	}
	for _, k := range n.kids {
		step := strings.ReplaceAll(strings.ReplaceAll(k.key, "~", "~0"), "/", "~1") // RFC 6901 §3
		some = k.leaves(at+"/"+step, found, zone, some)
	}
	return some
}

// longestLeaf is how many bytes of a text are kept: a pattern by which a value is taken out
// of a message fits in.
const longestLeaf = 128

func newLeaf(at string, f jsonValue, zone *time.Location) Leaf {
	l := Leaf{Pointer: at, Text: clipped(string(f.raw), longestLeaf), Number: math.NaN()}
	if v, unit, ok := f.amount(); ok {
		l.Number, l.Unit = v, unit
	}
	if t, given, ok := f.stamp(zone, time.Time{}); given && ok && t.Unix() >= earliestStamp {
		l.Time = t
	}
	return l
}
