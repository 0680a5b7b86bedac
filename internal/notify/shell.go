package notify

import "strings"

// command writes a command of this program as it can be pasted into a shell on
// the machine that it runs on.
func (w writer) command(words ...string) string {
	if w.file != "" {
		words = append(words, "--config", w.file)
	}
	said := "binwatchd"
	for _, word := range words {
		said += " " + quoted(word)
	}
	return said
}

// plainInShell are the characters that no POSIX shell gives a meaning of its own
// anywhere in a word, beside letters and digits.
const plainInShell = "-_./:,+@%"

// quoted writes a word so that a POSIX shell takes it as it is.
func quoted(word string) string {
	odd := func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune(plainInShell, r))
	}
	if word != "" && !strings.ContainsFunc(word, odd) {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}
