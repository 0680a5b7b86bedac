package ingest

import (
	"encoding/json"
	"math"
	"strconv"
	"strings"
)

// maxDepth bounds how deep a payload may nest. No probe nests half as deep,
// and without a bound a hostile payload could exhaust the stack.
const maxDepth = 64

// A kind is what stands at a place in a payload.
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
func (f jsonValue) number() (float64, bool) {
	switch f.kind {
	case number, text:
		return parseNumber(f.raw)
	case null:
		return math.NaN(), true
	}
	return 0, false
}

// A scanner reads one JSON text (RFC 8259) and picks out what a tree asks for.
// It checks the whole text: half a message is no message. Beyond the standard
// it takes NaN and Infinity, in the spellings that C and Python print, since
// one probe without a value must not cost its neighbours theirs.
type scanner struct {
	b     []byte
	i     int
	out   []jsonValue
	depth int
}

// scan fills out, one found value for each slot of the tree. Of members with
// the same name the last one counts, as in encoding/json.
func scan(payload []byte, t *tree, out []jsonValue) bool {
	s := scanner{b: payload, out: out}
	clear(out)
	if !s.value(t.root) {
		return false
	}
	s.space()
	return s.i == len(s.b)
}

func (s *scanner) space() {
	for s.i < len(s.b) {
		switch s.b[s.i] {
		case ' ', '\t', '\n', '\r':
			s.i++
		default:
			return
		}
	}
}

// peek gives the next byte after white space; 0 at the end.
func (s *scanner) peek() byte {
	s.space()
	if s.i < len(s.b) {
		return s.b[s.i]
	}
	return 0
}

// value reads one value; n is nil where nobody asks for anything inside.
func (s *scanner) value(n *node) bool {
	f, ok := jsonValue{}, false
	start := 0
	switch c := s.peek(); {
	case c == '{' || c == '[':
		f.kind = composite
		start = s.i
		ok = s.nested(c, n)
	case c == '"':
		f.kind = text
		f.raw, ok = s.text()
		return ok && s.keep(n, f)
	case c == '-' || '0' <= c && c <= '9':
		f.kind = number
		start = s.i
		ok = s.number()
	default:
		start = s.i
		f.kind, ok = s.word()
	}
	if !ok {
		return false
	}
	f.raw = s.b[start:s.i]
	return s.keep(n, f)
}

func (s *scanner) keep(n *node, f jsonValue) bool {
	if n != nil && n.slot >= 0 {
		s.out[n.slot] = f
	}
	return true
}

// nested reads an object or an array.
func (s *scanner) nested(open byte, n *node) bool {
	if s.depth++; s.depth > maxDepth {
		return false
	}
	s.i++
	ok := false
	if open == '{' {
		ok = s.object(n)
	} else {
		ok = s.array(n)
	}
	s.depth--
	return ok
}

func (s *scanner) object(n *node) bool {
	if s.peek() == '}' {
		s.i++
		return true
	}
	for {
		if s.peek() != '"' {
			return false
		}
		name, ok := s.text()
		if !ok || s.peek() != ':' {
			return false
		}
		s.i++
		if !s.value(s.member(n, name)) {
			return false
		}
		if more, ok := s.next('}'); !more {
			return ok
		}
	}
}

func (s *scanner) array(n *node) bool {
	if s.peek() == ']' {
		s.i++
		return true
	}
	for i := 0; ; i++ {
		if !s.value(element(n, i)) {
			return false
		}
		if more, ok := s.next(']'); !more {
			return ok
		}
	}
}

// next steps over a comma (more) or the closing bracket (ok).
func (s *scanner) next(closing byte) (more, ok bool) {
	c := s.peek()
	s.i++
	return c == ',', c == closing
}

// member finds the step of the tree for a name, and forgets what an earlier
// member of the same name gave.
func (s *scanner) member(n *node, name []byte) *node {
	if n == nil {
		return nil
	}
	for _, k := range n.kids {
		if sameName(k.key, name) {
			s.forget(k)
			return k
		}
	}
	return nil
}

func (s *scanner) forget(n *node) {
	if n.slot >= 0 {
		s.out[n.slot] = jsonValue{}
	}
	for _, k := range n.kids {
		s.forget(k)
	}
}

func element(n *node, i int) *node {
	if n == nil {
		return nil
	}
	for _, k := range n.kids {
		if k.index == i {
			return k
		}
	}
	return nil
}

// sameName compares a wanted name with one still escaped in the payload.
func sameName(key string, name []byte) bool {
	for _, c := range name {
		if c == '\\' {
			return key == unescapeText(name)
		}
	}
	return key == string(name)
}

// unescapeText undoes the escapes of a text that the scanner has found sound.
func unescapeText(raw []byte) string {
	quoted := make([]byte, 0, len(raw)+2)
	quoted = append(append(append(quoted, '"'), raw...), '"')
	var s string
	if json.Unmarshal(quoted, &s) != nil {
		return string(raw)
	}
	return s
}

// text reads a quoted text and gives what stands between the quotes.
func (s *scanner) text() ([]byte, bool) {
	s.i++
	start := s.i
	for s.i < len(s.b) {
		switch c := s.b[s.i]; {
		case c == '"':
			s.i++
			return s.b[start : s.i-1], true
		case c == '\\':
			if !s.escape() {
				return nil, false
			}
		case c < ' ':
			return nil, false
		default:
			s.i++
		}
	}
	return nil, false
}

// escape steps over a backslash and what belongs to it.
func (s *scanner) escape() bool {
	if s.i+1 >= len(s.b) {
		return false
	}
	switch s.b[s.i+1] {
	case '"', '\\', '/', 'b', 'f', 'n', 'r', 't':
		s.i += 2
		return true
	case 'u':
		return s.hex()
	}
	return false
}

// hex steps over \u and its four digits.
func (s *scanner) hex() bool {
	s.i += 2
	for range 4 {
		if s.i >= len(s.b) || !strings.ContainsRune("0123456789abcdefABCDEF", rune(s.b[s.i])) {
			return false
		}
		s.i++
	}
	return true
}

// number steps over a number in the grammar of JSON, or over -Infinity.
func (s *scanner) number() bool {
	if s.b[s.i] == '-' {
		s.i++
		if s.i < len(s.b) && (s.b[s.i]|0x20 == 'i' || s.b[s.i]|0x20 == 'n') {
			k, ok := s.word()
			return ok && k == number
		}
	}
	switch {
	case s.i < len(s.b) && s.b[s.i] == '0':
		s.i++
	case s.digits() == 0:
		return false
	}
	if s.i < len(s.b) && s.b[s.i] == '.' {
		s.i++
		if s.digits() == 0 {
			return false
		}
	}
	return s.exponent()
}

func (s *scanner) exponent() bool {
	if s.i >= len(s.b) || s.b[s.i]|0x20 != 'e' {
		return true
	}
	s.i++
	if s.i < len(s.b) && (s.b[s.i] == '+' || s.b[s.i] == '-') {
		s.i++
	}
	return s.digits() > 0
}

// digits steps over digits and counts them.
func (s *scanner) digits() int {
	start := s.i
	for s.i < len(s.b) && '0' <= s.b[s.i] && s.b[s.i] <= '9' {
		s.i++
	}
	return s.i - start
}

// word reads true, false, null and the words for no number.
func (s *scanner) word() (kind, bool) {
	start := s.i
	for s.i < len(s.b) && 'a' <= s.b[s.i]|0x20 && s.b[s.i]|0x20 <= 'z' {
		s.i++
	}
	switch w := s.b[start:s.i]; string(w) {
	case "true", "false":
		return boolean, true
	case "null":
		return null, true
	case "NaN", "nan", "Infinity", "inf":
		return number, true
	}
	return absent, false
}

// A node is one step of the JSON Pointers (RFC 6901) asked of a payload. All
// pointers of a message make one tree, so that the payload is read once
// however many probes it feeds.
type node struct {
	key   string // name of the member, unescaped
	index int    // the same as a place in an array; -1 when it is none
	slot  int    // where the value goes; -1 when nobody asks for it
	kids  []*node
}

// A tree holds the pointers asked of one topic's payloads.
type tree struct {
	root  *node
	slots int
}

func newTree() *tree { return &tree{root: &node{index: -1, slot: -1}} }

// ask adds a pointer and gives the slot its value will be found in. A pointer
// that lacks its leading slash is taken as if it had one.
func (t *tree) ask(pointer string) int {
	n := t.root
	if pointer != "" {
		for step := range strings.SplitSeq(strings.TrimPrefix(pointer, "/"), "/") {
			n = n.kid(unescapePointer(step))
		}
	}
	if n.slot < 0 {
		n.slot = t.slots
		t.slots++
	}
	return n.slot
}

func (n *node) kid(key string) *node {
	for _, k := range n.kids {
		if k.key == key {
			return k
		}
	}
	k := &node{key: key, index: arrayIndex(key), slot: -1}
	n.kids = append(n.kids, k)
	return k
}

// unescapePointer turns ~1 into / and ~0 into ~, in that order (RFC 6901 §4).
func unescapePointer(step string) string {
	return strings.ReplaceAll(strings.ReplaceAll(step, "~1", "/"), "~0", "~")
}

// arrayIndex reads a place in an array: digits without a leading zero. The
// pointer "-", the place after the last, never holds a value.
func arrayIndex(key string) int {
	if key == "" || len(key) > 9 || key[0] == '0' && key != "0" {
		return -1
	}
	for i := range len(key) {
		if key[i] < '0' || key[i] > '9' {
			return -1
		}
	}
	i, _ := strconv.Atoi(key)
	return i
}
