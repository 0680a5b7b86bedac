package rounds

import (
	"slices"
	"strings"

	"binwatchd/internal/farm"
)

// wellBins gives a line to each bin that nothing is raised in and all is known of.
func wellBins(v farm.View, dates farm.Dates) (lines []string) {
	if v.Intake.Unwritten != nil {
		return nil
	}
	for _, b := range v.Bins {
		if slices.ContainsFunc(v.Standing, func(st farm.Standing) bool { return st.Bin == b.Name }) {
			continue
		}
		well := true
		var said []string
		for _, z := range b.Zones {
			well = well && len(z.Levels) > 0 && len(z.Seen) == 0 && len(z.Unsure(v.At, dates)) == 0
			for _, q := range farm.Quantities {
				if l := z.Level(q.Name); l != nil && q.Gauge.Name != "" {
					well = well && l.Fresh
					said = append(said, l.Say(v.Units, q.Name, l.Value))
				}
			}
		}
		if well {
			lines = append(lines, farm.Capital(b.Name)+": "+strings.Join(said, ", ")+".")
		}
	}
	return lines
}

// asksFor is what an act is called that was not done.
var asksFor = map[farm.JotKind]string{
	farm.Watered: "water", farm.Fed: "food", farm.Bedded: "bedding", farm.Turned: "turning", farm.Sifted: "sifting", farm.Lifted: "lifting",
}

// left says what was not done on the visit that is under way or just over; "" where
// nobody was there in the last hours, or all is done.
func left(v farm.View, care []farm.Care) string {
	zones := map[farm.Place]farm.ZoneView{}
	only, been := map[string]bool{}, false
	for _, b := range v.Bins {
		only[b.Name] = len(b.Zones) == 1
		for _, z := range b.Zones {
			zones[farm.Place{Bin: z.Bin, Zone: z.Zone}], been = z, been || z.Visit != nil
		}
	}
	var out []string
	for _, c := range care {
		z := zones[farm.Place{Bin: c.Bin, Zone: c.Zone}]
		if c.Jot == nil || z.Visit != nil && slices.Contains(z.Visit.Did, c.Jot.What) {
			continue
		}
		out = appendNew(out, farm.SayPlace(c.Bin, c.Zone, only[c.Bin])+" ("+asksFor[c.Jot.What]+")")
	}
	if !been || len(out) == 0 {
		return ""
	}
	return "Not done on this visit: " + strings.Join(out, "; ") + "."
}
