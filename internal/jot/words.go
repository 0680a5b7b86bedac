package jot

import (
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// A word is a word, a number or a sign of a text.
type word struct {
	raw     string // as it was written
	low     string // in lower case
	at, end int    // where it stands in the text
	letters bool   // it begins with a letter
	glued   bool   // no blank stands before it
}

var wordPattern = regexp.MustCompile(`\d{4}-\d\d-\d\d(?:[T ]\d{1,2}:\d\d(?::\d\d)?(?:Z|[+-]\d\d:\d\d)?)?` +
	`|\d*\.\d+|\d+|[½¼¾⅓⅔⅛]|\p{L}[\p{L}\p{M}]*(?:['’]\p{L}+)?|\n|\S`)

// split parts a text in words.
func split(text string) (all []word) {
	end := 0
	for _, at := range wordPattern.FindAllStringIndex(text, -1) {
		raw := text[at[0]:at[1]]
		first, _ := utf8.DecodeRuneInString(raw)
		all = append(all, word{
			raw: raw, low: strings.ToLower(raw), at: at[0], end: at[1],
			letters: unicode.IsLetter(first), glued: at[0] == end && at[0] > 0,
		})
		end = at[1]
	}
	return all
}

// low is the nth word from the next one on; "" past the end.
func (p *parser) low(n int) string {
	if p.at+n >= len(p.words) {
		return ""
	}
	return p.words[p.at+n].low
}

// meets tells whether a phrase stands n words on, and of how many words it is.
func (p *parser) meets(n int, phrase []word) bool {
	for i, w := range phrase {
		if p.low(n+i) != w.low {
			return false
		}
	}
	return len(phrase) > 0
}

// clipped is a text of at most so many bytes.
func clipped(s string, most int) string {
	if len(s) <= most {
		return s
	}
	return strings.ToValidUTF8(s[:most], "") + "…"
}

// oneOff tells whether two words are alike but for one letter: another, one more, one
// less, or two that have changed places. Numbers are never mistyped names.
func oneOff(a, b string) bool {
	x, y := []rune(a), []rune(b)
	if len(x) > len(y) {
		x, y = y, x
	}
	if a == b || len(x) < 3 || len(y)-len(x) > 1 || digits(a) != digits(b) {
		return false
	}
	i := 0
	for i < len(x) && x[i] == y[i] {
		i++
	}
	switch {
	case len(x) < len(y):
		return string(x[i:]) == string(y[i+1:])
	case string(x[i+1:]) == string(y[i+1:]):
		return true
	}
	return i+1 < len(x) && x[i] == y[i+1] && x[i+1] == y[i] && string(x[i+2:]) == string(y[i+2:])
}

func digits(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsDigit(r) {
			return r
		}
		return -1
	}, s)
}
