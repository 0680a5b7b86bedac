package config

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
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
	var b strings.Builder
	for i, problem := range p.List {
		if i == mostShown {
			fmt.Fprintf(&b, "\nand %d more", len(p.List)-mostShown)
			break
		}
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(problem.String())
	}
	return b.String()
}

// byPlace sorts problems, keeping the order in which those of one place were
// found, and drops exact repeats.
func byPlace(list []Problem) []Problem {
	slices.SortStableFunc(list, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return slices.Compact(list)
}
