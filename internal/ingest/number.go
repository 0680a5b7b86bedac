package ingest

import (
	"bytes"
	"math"
	"strconv"
	"strings"
)

// tens are the powers of ten that a float64 holds exactly.
var tens = [...]float64{
	1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
}

// parseNumber reads a decimal number with white space around it, as strconv
// does, and the words by which devices print what is none: nan and inf. Hex
// and digit separators are not numbers here.
//
// A plain number of up to fifteen digits needs no allocation: its digits and
// the power of ten to divide by are exact in a float64, so one division rounds
// correctly (Clinger 1990, PLDI, "How to read floating point numbers
// accurately").
func parseNumber(b []byte) (v float64, ok bool) {
	b = bytes.TrimSpace(b)
	digits, places, mantissa, i := 0, 0, uint64(0), 0
	if i < len(b) && (b[i] == '-' || b[i] == '+') {
		i++
	}
	point := false
	for ; i < len(b); i++ {
		switch c := b[i]; {
		case '0' <= c && c <= '9' && digits < 15:
			mantissa = mantissa*10 + uint64(c-'0')
			digits++
			if point {
				places++
			}
		case c == '.' && !point:
			point = true
		default:
			return parseSlowly(b)
		}
	}
	if digits == 0 {
		return 0, false
	}
	v = float64(mantissa) / tens[places]
	if b[0] == '-' {
		v = -v
	}
	return v, true
}

// parseSlowly reads exponents, long numbers and the words for no number.
func parseSlowly(b []byte) (float64, bool) {
	if len(b) > 400 { // a float64 written out in full has fewer digits
		return 0, false
	}
	s := string(b)
	if v, ok := parseNoNumber(s); ok {
		return v, true
	}
	if strings.ContainsFunc(s, func(r rune) bool { return !strings.ContainsRune("0123456789+-.eE", r) }) {
		return 0, false
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil && !math.IsInf(v, 0) { // too large a number is infinite, and doubted as that
		return 0, false
	}
	return v, true
}

// parseNoNumber reads the words of C, Python and JavaScript for values that
// are no numbers.
func parseNoNumber(s string) (float64, bool) {
	sign := 1
	if rest, ok := strings.CutPrefix(s, "-"); ok {
		s, sign = rest, -1
	}
	switch strings.ToLower(s) {
	case "nan":
		return math.NaN(), true
	case "inf", "infinity":
		return math.Inf(sign), true
	}
	return 0, false
}
