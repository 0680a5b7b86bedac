package ingest

import (
	"encoding/json"
	"math"
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

// A found value is a piece of the payload: of a text, what stands between its
// quotes, still escaped.
type found struct {
	kind kind
	raw  []byte
}

// number reads a value as a number. Null stands for NaN, because that is how
// common device libraries write a NaN into JSON.
func (f found) number() (float64, bool) {
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
	out   []found
	depth int
}

// scan fills out, one found value for each slot of the tree. Of members with
// the same name the last one counts, as in encoding/json.
func scan(payload []byte, t *tree, out []found) bool {
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
	f, ok := found{}, false
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

func (s *scanner) keep(n *node, f found) bool {
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
		s.out[n.slot] = found{}
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
