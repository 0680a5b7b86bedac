package farm

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// Capital writes a word with its first letter upper-case, as a sentence
// begins.
func Capital(word string) string {
	r, n := utf8.DecodeRuneInString(word)
	return string(unicode.ToUpper(r)) + word[n:]
}

// SayList joins words as in a sentence: "red, European and blue worms".
func SayList(words []string) string {
	n := len(words)
	if n < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
}

// SayPlace names a zone as a keeper would: "Bed, near"; a bin whose only zone
// needs no name of its own is just "Crate".
func SayPlace(bin, zone string, onlyZone bool) string {
	if onlyZone || zone == "" {
		return Capital(bin)
	}
	return Capital(bin) + ", " + zone
}
