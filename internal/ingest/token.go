package ingest

import "strings"

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
