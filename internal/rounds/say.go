package rounds

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"binwatchd/internal/farm"
)

// opening is one sentence on the whole farm. No news is not good news: it says
// that all is well only where everything is known.
func opening(v *farm.View, r farm.Rounds) string {
	var bins, urgent []string
	for _, c := range r.Care {
		bins = appendNew(bins, c.Bin)
		if c.Urgency == farm.Now {
			urgent = appendNew(urgent, c.Bin)
		}
	}
	switch {
	case len(bins) == 0 && v.NothingHeard():
		return "Nothing is known yet: no reading has come."
	case len(bins) == 0 && len(r.Done) > 0 && len(r.Probes) > 0:
		return "Nothing more to do at the bins for now, for what was given needs time to show; but look at the probes."
	case len(bins) == 0 && len(r.Done) > 0:
		return "Nothing more to do for now: what was given needs time to show."
	case len(bins) == 0 && len(r.Probes) > 0 && len(r.Unsure) > 0:
		return "Nothing is raised at the bins, but not everything is known to be well: look at the probes."
	case len(bins) == 0 && len(r.Probes) > 0:
		return "Nothing to do at the bins, but look at the probes."
	case len(bins) == 0 && len(r.Unsure) > 0:
		return "Nothing is raised, but not everything is known to be well."
	case len(bins) == 0:
		return "Nothing to do: all is well."
	case len(urgent) == len(bins):
		return need(len(bins)) + ", and at once."
	case len(urgent) > 0:
		return fmt.Sprintf("%s, %s of them at once: %s.", need(len(bins)), number(len(urgent)), farm.SayNames(urgent))
	}
	return need(len(bins)) + "."
}

func need(bins int) string {
	if bins == 1 {
		return "One bin needs you"
	}
	return farm.Capital(number(bins)) + " bins need you"
}

// number writes small numbers as words.
func number(n int) string {
	words := []string{"none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}
	if n < len(words) {
		return words[n]
	}
	return fmt.Sprint(n)
}

func sayHushed(v *farm.View, st farm.Standing, dates farm.Dates) string {
	what := st.Condition.Row().Is
	if st.Quantity != "" { // one condition of several quantities
		what = st.Quantity.Row().Noun + " " + what
	}
	return fmt.Sprintf("%s: %s, kept quiet until %s.", placeOf(v, st), what, dates.Time(*st.Hushed, v.At))
}

// sayDone says what was done about a condition, and when to look again.
func sayDone(v *farm.View, st farm.Standing) string {
	return placeOf(v, st) + ": " + st.Advice.Do
}

func placeOf(v *farm.View, st farm.Standing) string {
	only := slices.ContainsFunc(v.Bins, func(b farm.BinView) bool { return b.Name == st.Bin && len(b.Zones) == 1 })
	return farm.SayPlace(st.Bin, st.Zone, only)
}

func sayMachinery(st farm.Standing) string {
	return strings.TrimSpace(st.Text + " " + advice(st).Do)
}

// Text writes the list as a note for a person.
func Text(r farm.Rounds, dates farm.Dates) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %s\n\n%s\n", r.Farm, dates.Long(r.At)+r.At.In(dates.Location).Format(", 15:04"), r.Opening)
	if len(r.Bring) > 0 {
		fmt.Fprintf(&b, "Bring %s.\n", farm.SayList(r.Bring))
	}
	for _, c := range r.Causes {
		fmt.Fprintf(&b, "\n%s: %s\n  %s\n", farm.Capital(c.Urgency.String()), c.Says(), c.Do)
		if c.Caution != "" {
			fmt.Fprintf(&b, "  %s\n", c.Caution)
		}
	}
	bin := ""
	for i, c := range r.Care {
		named := slices.ContainsFunc(r.Care, func(o farm.Care) bool { return o.Room != c.Room })
		if named && (i == 0 && c.Room != "" || i > 0 && r.Care[i-1].Room != c.Room) { // at the top nothing is elsewhere yet
			fmt.Fprintf(&b, "\n%s\n", strings.ToUpper(cmp.Or(c.Room, "elsewhere")))
		}
		if c.Bin != bin {
			bin = c.Bin
			fmt.Fprintf(&b, "\n%s\n", farm.Capital(bin))
		}
		when, known := cmp.Or(farm.Capital(c.Urgency.String()), "As usual"), ""
		if c.Usual {
			when += ", as usual"
		}
		if c.Seen {
			known = " (" + cmp.Or(c.Known, "you know of it") + ")"
		}
		fmt.Fprintf(&b, "  %s%s: %s\n    %s\n", when, known, r.DoAt(i), c.Why)
	}
	if r.Left != "" {
		fmt.Fprintf(&b, "\n%s\n", r.Left)
	}
	var needs []string
	for _, n := range r.Needs {
		needs = append(needs, n.Text)
	}
	for _, section := range []struct {
		title string
		lines []string
	}{
		{"All is well", r.Well},
		{"Done already", r.Done},
		{"Seen lately", r.Seen},
		{"Not known to be well", r.Unsure},
		{"Probes", r.Probes},
		{"Kept quiet", r.Hushed},
		{"Castings", needs},
		{farm.ChangedTitle, r.Changed},
		{"Take care", r.Cautions},
	} {
		if len(section.lines) > 0 {
			fmt.Fprintf(&b, "\n%s\n  %s\n", section.title, strings.Join(section.lines, "\n  "))
		}
	}
	return b.String()
}
