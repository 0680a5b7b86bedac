package quantity

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// An Error says why a text is not the quantity wanted and what would be. Its
// message is one line, whatever the text holds.
type Error struct {
	Text string // as it was given, shortened
	What string // the quantity wanted, with its article: "a mass"
	Why  string // what is wrong and what would be right
}

func (e *Error) Error() string {
	return fmt.Sprintf("%q is not %s: %s", e.Text, e.What, e.Why)
}

// longestEcho bounds how much of a wrong text comes back in its message.
const longestEcho = 40

func newError(text, what, why string, args ...any) *Error {
	return &Error{Text: shorten(text), What: what, Why: fmt.Sprintf(why, args...)}
}

func shorten(s string) string {
	s = strings.ToValidUTF8(s, "�")
	if utf8.RuneCountInString(s) <= longestEcho {
		return s
	}
	return string([]rune(s)[:longestEcho]) + "…"
}
