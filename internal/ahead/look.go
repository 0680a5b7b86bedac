package ahead

import (
	"fmt"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// Look reckons all that comes until a time.
func Look(b *Book, until time.Time) farm.Ahead {
	last := until
	for _, n := range b.Farm.Needs {
		if n.By.After(last) {
			last = n.By
		}
	}
	account := newAccount(b, last)
	out := farm.Ahead{
		At: b.View.At, Farm: b.Farm.Name, Until: until.UTC(),
		Needs: account.needs(), Castings: account.curve(last), Sources: account.sources(until), Notes: account.notes(),
	}
	if b.If != nil {
		out.If = b.If.Said
	}
	return out
}

// Text writes it for a person.
func Text(a farm.Ahead, d farm.Dates) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %s\n", a.Farm, d.Long(a.At)+a.At.In(d.Location).Format(", 15:04"))
	if a.If != "" {
		fmt.Fprintf(&b, "Supposed: %s.\n", a.If)
	}
	section := func(title string, lines []string) {
		if len(lines) > 0 {
			fmt.Fprintf(&b, "\n%s\n  %s\n", title, strings.Join(lines, "\n  "))
		}
	}
	var needs, from []string
	for _, n := range a.Needs {
		needs = append(needs, n.Text)
	}
	for _, s := range a.Sources {
		from = append(from, s.Text)
	}
	section("Castings wanted", needs)
	section("Castings there are, and will be", from)
	section("What this leaves out", a.Notes)
	return b.String()
}
