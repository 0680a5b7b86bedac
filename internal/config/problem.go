package config

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"binwatchd/internal/quantity"
)

// A Problem is something wrong, or worth knowing, at one place of a file.
// Line and Column count from 1; a column counts characters.
type Problem struct {
	File    string
	Line    int
	Column  int
	Message string // one line; never holds a secret
}

// String writes file:line:col: message, which editors turn into a link.
func (p Problem) String() string {
	return fmt.Sprintf("%s:%d:%d: %s", p.File, p.Line, p.Column, p.Message)
}

// Problems is everything that keeps a file from being used, sorted by place.
type Problems struct{ List []Problem }

// mostShown bounds the lines of Error: a file that is no configuration at all
// could have one for each of its words.
const mostShown = 100

// Error has a line for each problem.
func (p *Problems) Error() string {
	lines := namesOf(p.List[:min(len(p.List), mostShown)], Problem.String)
	if more := len(p.List) - mostShown; more > 0 {
		lines = append(lines, fmt.Sprintf("and %d more", more))
	}
	return strings.Join(lines, "\n")
}

// byPlace sorts problems, keeping the order in which those of one place were
// found, and drops exact repeats.
func byPlace(list []Problem) []Problem {
	slices.SortStableFunc(list, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return slices.Compact(list)
}

// quoted writes a text from the file for use in a message.
func quoted(s string) string { return fmt.Sprintf("%q", quantity.Shortened(s)) }

// namesOf gives the name of each of some things.
func namesOf[T any](things []T, name func(T) string) []string {
	names := make([]string, len(things))
	for i, thing := range things {
		names[i] = name(thing)
	}
	return names
}

// hint says what a wrong word may have been meant as: the nearest known one,
// else all of them. Some word is known.
func hint(word string, known []string) string {
	if near := nearest(word, known); near != "" {
		return "did you mean " + near + "?"
	}
	return "known are " + enumerate(known)
}

// enumerate writes "a, b and c", leaving the middle out of a long list.
func enumerate(words []string) string {
	const most = 20
	switch n := len(words); {
	case n == 1:
		return words[0]
	case n > most:
		return strings.Join(words[:most], ", ") + fmt.Sprintf(" and %d more", n-most)
	default:
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
}

// nearest finds the known word most like the given one: one that continues it,
// or one a few keystrokes away. "" when none is near; a word of one or two
// letters is near to anything short, so nothing is guessed from it.
func nearest(word string, known []string) string {
	word = strings.ToLower(word)
	if utf8.RuneCountInString(word) < 3 {
		return ""
	}
	best, least := "", max(1, utf8.RuneCountInString(word)/3)+1
	for _, k := range known {
		lower := strings.ToLower(k)
		if strings.HasPrefix(lower, word) {
			return k
		}
		if d := len(lower) - len(word); max(d, -d) > 4*least { // no need to look: at most 4 bytes a character
			continue
		}
		if d := keystrokes([]rune(word), []rune(lower)); d < least {
			best, least = k, d
		}
	}
	return best
}

// keystrokes counts the insertions, deletions, changes and swaps of neighbours
// that turn a into b: the optimal string alignment distance.
func keystrokes(a, b []rune) int {
	const longest = 40
	if len(a) > longest || len(b) > longest {
		return longest
	}
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}
