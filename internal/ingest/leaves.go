package ingest

import (
	"bytes"
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// maxLeaves bounds how many values of one payload are looked at, for those who
// look at everything that anybody publishes.
const maxLeaves = 256

// earliestStamp, in seconds since 1970, tells times from readings: the smallest
// of ten digits, a day in 2001.
const earliestStamp = 1e9

// A Leaf is one value inside a payload, found without knowing what to look
// for.
type Leaf struct {
	Pointer string    // JSON Pointer (RFC 6901); "" for a payload that is one value
	Text    string    // as it stands there, without quotes, cut after 64 bytes
	Number  float64   // NaN where it is none
	Time    time.Time // when it reads as a device's time since 2001; else zero
}

// Leaves finds every value in a payload, by pointer: a number of its own, a
// JSON text, or words that are neither. A [Decoder] asked for a leaf's pointer
// reads the same number and the same time. It gives none for a payload that is
// empty or larger than a Decoder would look at.
func Leaves(payload []byte) []Leaf {
	body := bytes.TrimSpace(payload)
	if len(body) == 0 || len(payload) > maxPayload {
		return nil
	}
	w := walker{scanner: scanner{b: body, out: make([]found, 1)}}
	if !w.walk("") || !w.ended() {
		return []Leaf{newLeaf("", found{kind: text, raw: unquoted(body)})}
	}
	slices.SortFunc(w.leaves, func(a, b Leaf) int { return cmp.Compare(a.Pointer, b.Pointer) })
	return w.leaves
}

// A walker steps through a JSON text and keeps every value in it.
type walker struct {
	scanner
	leaves []Leaf
}

func (w *walker) ended() bool {
	w.space()
	return w.i == len(w.b)
}

// walk reads the value that is found at a pointer.
func (w *walker) walk(at string) bool {
	switch w.peek() {
	case '{':
		return w.inside(func() bool { return w.members(at) })
	case '[':
		return w.inside(func() bool { return w.elements(at) })
	}
	if !w.value(&node{index: -1}) {
		return false
	}
	if len(w.leaves) < maxLeaves {
		w.leaves = append(w.leaves, newLeaf(at, w.out[0]))
	}
	return true
}

// inside reads an object or an array, of which walkAll reads what follows the
// bracket.
func (w *walker) inside(walkAll func() bool) bool {
	if w.depth++; w.depth > maxDepth {
		return false
	}
	w.i++
	ok := walkAll()
	w.depth--
	return ok
}

func (w *walker) members(at string) bool {
	if w.peek() == '}' {
		w.i++
		return true
	}
	for {
		if w.peek() != '"' {
			return false
		}
		name, ok := w.text()
		if !ok || w.peek() != ':' {
			return false
		}
		w.i++
		member := at + "/" + escapePointer(unescapeText(name))
		w.forgetBelow(member)
		if !w.walk(member) {
			return false
		}
		if more, ok := w.next('}'); !more {
			return ok
		}
	}
}

func (w *walker) elements(at string) bool {
	if w.peek() == ']' {
		w.i++
		return true
	}
	for i := 0; ; i++ {
		if !w.walk(at + "/" + strconv.Itoa(i)) {
			return false
		}
		if more, ok := w.next(']'); !more {
			return ok
		}
	}
}

// forgetBelow drops what an earlier member of the same name gave: the last one
// counts, as it does for a Decoder.
func (w *walker) forgetBelow(at string) {
	w.leaves = slices.DeleteFunc(w.leaves, func(l Leaf) bool { return l.Pointer == at || strings.HasPrefix(l.Pointer, at+"/") })
}

func newLeaf(at string, f found) Leaf {
	l := Leaf{Pointer: at, Text: clip(string(f.raw)), Number: math.NaN()}
	if v, ok := f.number(); ok {
		l.Number = v
	}
	if t, given, ok := f.stamp(); given && ok && t.Unix() >= earliestStamp {
		l.Time = t
	}
	return l
}

// escapePointer turns ~ into ~0 and / into ~1 (RFC 6901 §3).
func escapePointer(name string) string {
	return strings.ReplaceAll(strings.ReplaceAll(name, "~", "~0"), "/", "~1")
}

// Believable tells whether a device's time stamp would be taken for true in a
// message that arrived at a time.
func Believable(stamp, arrived time.Time) bool { return believable(stamp, arrived) }
