package ahead

import (
	"fmt"
	"math"
	"slices"
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
		Comes: b.comings(account, until), Needs: account.needs(), Castings: account.curve(last), Sources: account.sources(until), Notes: append(account.notes(), b.unknownSeasons()...),
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
	if len(a.Comes) == 0 {
		b.WriteString("\nNothing is known to come.\n")
	}
	for i, c := range a.Comes {
		if i == 0 || !c.On.Equal(a.Comes[i-1].On) {
			fmt.Fprintf(&b, "\n%s\n", farm.Capital(d.Day(c.On, a.At)))
		}
		fmt.Fprintf(&b, "  %s\n", c.Says(d, a.At))
	}
	section("Castings wanted", needs)
	section("Castings there are, and will be", from)
	section("What this leaves out", a.Notes)
	return b.String()
}

// unknownSeasons says of which bins no season can be foreseen, for want of a year.
func (b *Book) unknownSeasons() (out []string) {
	const year = 365 * day
	var bins []string
	first := b.View.At
	for i := range b.Farm.Bins {
		bin := &b.Farm.Bins[i]
		if !hasAim(bin, farm.Living) {
			continue
		}
		began, warm := b.View.At, b.warmth(bin)
		if i := slices.IndexFunc(warm.tempC, func(c float64) bool { return !math.IsNaN(c) }); i >= 0 {
			began = time.Unix((warm.from+int64(i))*int64(day/time.Second), 0)
		}
		if b.View.At.Sub(began) < year {
			bins = append(bins, farm.Capital(bin.Name))
			if began.Before(first) {
				first = began
			}
		}
	}
	if len(bins) == 0 {
		return nil
	}
	since := "not at all"
	if first.Before(b.View.At) {
		since = "since " + b.Farm.Dates().Date(first) + " at the earliest"
	}
	return []string{fmt.Sprintf("How warm it was a year ago is not known for %s (%s), so no season is foreseen there.", farm.SayFew(bins), since)}
}
