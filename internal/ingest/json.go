package ingest

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

const (
	// maxDepth bounds how deep a payload may nest. No probe nests half as deep,
	// and without a bound a hostile payload could exhaust the stack.
	maxDepth = 64
	// maxLeaves bounds how many values of one payload are kept for those who look
	// at everything that anybody publishes.
	maxLeaves = 256
)

// A kind is what stands somewhere in a payload.
type kind uint8

const (
	absent kind = iota
	null
	boolean
	number
	text
	composite // an object or an array
)

// A jsonValue is a piece of the payload: of a text, what stands between its
// quotes, still escaped.
type jsonValue struct {
	kind kind
	raw  []byte
}

// number reads a value as a number. Null stands for NaN, because that is how
// common device libraries write a NaN into JSON.
func (v jsonValue) number() (float64, bool) {
	switch v.kind {
	case number, text:
		return parseNumber(v.raw)
	case null:
		return math.NaN(), true
	}
	return 0, false
}

// A node is one step of JSON Pointers (RFC 6901). All pointers asked of a message
// make one tree, so that the payload is read once however many probes it feeds.
type node struct {
	key  string // name of the member, unescaped, or index of the element, in digits
	slot int    // where the value goes; -1 when nobody asks for it
	kids []*node
}

// A tree holds the pointers asked of one topic's payloads.
type tree struct {
	root  *node
	slots int
}

func newTree() *tree { return &tree{root: &node{slot: -1}} }

// ask adds a pointer and gives the slot its value will be found in. A pointer
// that lacks its leading slash is taken as if it had one.
func (t *tree) ask(pointer string) int {
	n := t.root
	if pointer != "" {
		for step := range strings.SplitSeq(strings.TrimPrefix(pointer, "/"), "/") {
			key := strings.ReplaceAll(strings.ReplaceAll(step, "~1", "/"), "~0", "~") // in that order: RFC 6901 §4
			i := slices.IndexFunc(n.kids, func(k *node) bool { return k.key == key })
			if i < 0 {
				n = n.add(key)
			} else {
				n = n.kids[i]
			}
		}
	}
	if n.slot < 0 {
		n.slot = t.slots
		t.slots++
	}
	return n.slot
}

// A lexer reads one JSON text (RFC 8259) and picks out what a tree asks for, or
// everything. It checks the whole text: half a message is no message. Beyond the
// standard it takes NaN and Infinity, in the spellings that C and Python print,
// since one probe without a value must not cost its neighbours theirs.
type lexer struct {
	b     []byte
	i     int
	out   []jsonValue
	depth int
	all   bool // keep every value that holds no others, growing the tree
}

// read fills out, one value for each slot of the tree. Of members with the same
// name the last one counts, as in encoding/json.
func (x *lexer) read(root *node) bool {
	clear(x.out)
	return x.value(root) && x.peek() == 0 && x.i == len(x.b)
}

// peek gives the next byte after white space; 0 at the end.
func (x *lexer) peek() byte {
	for ; x.i < len(x.b); x.i++ {
		switch c := x.b[x.i]; c {
		case ' ', '\t', '\n', '\r':
		default:
			return c
		}
	}
	return 0
}

// value reads one value; n is nil where nobody asks for anything inside.
func (x *lexer) value(n *node) bool {
	c := x.peek()
	v, start, ok := jsonValue{}, x.i, false
	switch c {
	case '{', '[':
		v.kind = composite
		ok = x.nested(c, n)
		v.raw = x.b[start:x.i]
	case '"':
		v.kind = text
		v.raw, ok = x.text()
	default:
		v, ok = x.plain()
	}
	if ok && n != nil {
		x.keep(n, v)
	}
	return ok
}

func (x *lexer) keep(n *node, v jsonValue) {
	if x.all && n.slot < 0 && v.kind != composite && len(x.out) < maxLeaves {
		n.slot = len(x.out)
		x.out = append(x.out, v)
	}
	if n.slot >= 0 && !(x.all && v.kind == composite) {
		x.out[n.slot] = v
	}
}

// nested reads an object or an array.
func (x *lexer) nested(open byte, n *node) bool {
	if x.depth++; x.depth > maxDepth {
		return false
	}
	x.i++
	closing := open + 2 // in ASCII, of both
	for i, c := 0, x.peek(); c != closing; i++ {
		kid, ok := x.kid(open, n, i)
		if !ok || !x.value(kid) {
			return false
		}
		switch c = x.peek(); {
		case c == ',':
			x.i++
		case c != closing:
			return false
		}
	}
	x.i++
	x.depth--
	return true
}

// kid finds the step of the tree for the next member, whose name it reads, or
// element, and forgets what an earlier member of that name gave.
func (x *lexer) kid(open byte, n *node, i int) (kid *node, ok bool) {
	var digits [20]byte
	name := digits[:0]
	if open == '{' {
		if x.peek() != '"' {
			return nil, false
		}
		if name, ok = x.text(); !ok || x.peek() != ':' {
			return nil, false
		}
		x.i++
	}
	switch {
	case n == nil:
		return nil, true
	case open == '[':
		name = strconv.AppendInt(name, int64(i), 10)
	default:
		name = unescaped(name)
	}
	for _, k := range n.kids {
		if k.key == string(name) {
			x.forget(k)
			return k, true
		}
	}
	if x.all && len(x.out) < maxLeaves {
		kid = n.add(string(name))
	}
	return kid, true
}

func (x *lexer) forget(n *node) {
	if n.slot >= 0 {
		x.out[n.slot] = jsonValue{}
	}
	for _, k := range n.kids {
		x.forget(k)
	}
}

func (n *node) add(key string) *node {
	n.kids = append(n.kids, &node{key: key, slot: -1})
	return n.kids[len(n.kids)-1]
}

// text reads a quoted text and gives what stands between the quotes.
func (x *lexer) text() (raw []byte, ok bool) {
	start, escaped := x.i, false
	for x.i++; x.i < len(x.b); x.i++ {
		switch c := x.b[x.i]; {
		case c == '"':
			x.i++
			return x.b[start+1 : x.i-1], !escaped || json.Valid(x.b[start:x.i])
		case c == '\\':
			escaped = true
			x.i++
		case c < ' ':
			return nil, false
		}
	}
	return nil, false
}

// unescaped undoes the escapes of a text that the lexer has found sound.
func unescaped(raw []byte) []byte {
	if bytes.IndexByte(raw, '\\') < 0 && utf8.Valid(raw) {
		return raw
	}
	var s string
	if json.Unmarshal(append(append([]byte{'"'}, raw...), '"'), &s) != nil {
		return raw
	}
	return []byte(s)
}

// plain reads what has neither quotes nor parts: a number in the grammar of JSON,
// true, false, null, and the words for no number.
func (x *lexer) plain() (v jsonValue, ok bool) {
	start := x.i
	for ; x.i < len(x.b); x.i++ {
		if c := x.b[x.i]; c <= ' ' || c == ',' || c == ']' || c == '}' {
			break
		}
	}
	raw := x.b[start:x.i]
	switch string(raw) {
	case "true", "false":
		return jsonValue{boolean, raw}, true
	case "null":
		return jsonValue{null, raw}, true
	case "NaN", "nan", "Infinity", "inf", "-NaN", "-nan", "-Infinity", "-inf":
		return jsonValue{number, raw}, true
	}
	return jsonValue{number, raw}, isNumber(raw)
}

// isNumber tells whether a text is a number in the grammar of JSON (RFC 8259, §6),
// as json.Valid does, which takes memory for it.
func isNumber(b []byte) bool {
	b = bytes.TrimPrefix(b, []byte("-"))
	if len(b) > 1 && b[0] == '0' && '0' <= b[1] && b[1] <= '9' {
		return false
	}
	digit, point, exponent := false, false, false // digit: the last byte was one
	for i, c := range b {
		switch {
		case '0' <= c && c <= '9':
			digit = true
			continue
		case c == '.' && digit && !point && !exponent:
			point = true
		case c|0x20 == 'e' && digit && !exponent:
			exponent = true
		case (c == '+' || c == '-') && i > 0 && b[i-1]|0x20 == 'e':
		default:
			return false
		}
		digit = false
	}
	return digit
}
