// Package snippet writes single words as they stand in a YAML file, for lines
// that a keeper pastes into the configuration. It reads no YAML and knows no
// key of the configuration; package config does. Proposals of probes and of
// calibrations are its callers.
package snippet

import (
	"strconv"
	"strings"
	"unicode"
)

// meant are the plain words that YAML 1.1 (§10.3.2) or 1.2 (§10.3) takes for
// something else than text.
var meant = []string{"y", "n", "yes", "no", "on", "off", "true", "false", "null", "nan", "inf"}

// Word writes a text as YAML: plainly where nothing else could be meant, else
// in double quotes. Every escape that Go writes means the same in YAML (1.2
// §5.7), and no character is left bare that an editor takes for a line's end.
func Word(s string) string {
	if plain(s) {
		return s
	}
	return strconv.Quote(s)
}

// plain tells whether a text needs no quotes: small letters, digits and what
// joins them, with a letter first.
func plain(s string) bool {
	for _, w := range meant {
		if s == w {
			return false
		}
	}
	return s != "" && 'a' <= s[0] && s[0] <= 'z' && strings.Trim(s, "abcdefghijklmnopqrstuvwxyz0123456789-_/.") == "" && !strings.HasSuffix(s, "/")
}

// Comment makes a text fit for a comment of one line: what a line cannot hold
// becomes a space.
func Comment(s string) string {
	return strings.Map(func(r rune) rune {
		if r == unicode.ReplacementChar || !unicode.IsPrint(r) {
			return ' '
		}
		return r
	}, s)
}

// Number writes a number with as many digits as it has and no exponent.
func Number(v float64) string { return strconv.FormatFloat(v+0, 'f', -1, 64) }
