package influx

import (
	"strings"
	"unicode"
)

// appendTag appends ",key=value" to a line's head, or nothing for an empty
// value: a tag with an empty value would make another series.
func appendTag(dst []byte, key, value string) []byte {
	if value == "" {
		return dst
	}
	dst = append(dst, ',')
	dst = append(dst, key...)
	dst = append(dst, '=')
	for _, r := range tame(value) {
		if r == ',' || r == '=' || r == ' ' {
			dst = append(dst, '\\')
		}
		dst = append(dst, string(r)...)
	}
	// A backslash at the end would escape what follows the value.
	for i := len(dst) - 1; dst[i] == '\\'; i-- {
		dst[i] = '/'
	}
	return dst
}

// appendText appends a string field's value in its quotes.
func appendText(dst []byte, text string) []byte {
	dst = append(dst, '"')
	for _, r := range tame(text) {
		if r == '"' || r == '\\' {
			dst = append(dst, '\\')
		}
		dst = append(dst, string(r)...)
	}
	return append(dst, '"')
}

// tame turns what cannot stand in a line, control characters and bytes that
// are no UTF-8, into spaces and question marks.
func tame(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
}
