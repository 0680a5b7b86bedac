package rounds

import (
	"fmt"
	"time"

	"binwatchd/internal/farm"
)

// usual lists what comes on its usual day by now and no condition asks for: a keeper who
// feeds on Fridays is reminded on Friday. Sifting waits for its window, and water for
// the moisture.
func usual(v farm.View, loc *time.Location) (out []farm.Care) {
	y, m, d := v.At.In(loc).Date()
	tonight := time.Date(y, m, d+1, 0, 0, 0, 0, loc)
	for _, b := range v.Bins {
		for _, z := range b.Zones {
			for _, r := range z.Rhythms {
				if r.What == farm.Sifted || !r.Next.Before(tonight) || asked(v, z, r.What) || r.What == farm.Watered && z.Water == nil {
					continue
				}
				out = append(out, farm.Care{
					Bin: z.Bin, Zone: z.Zone, Do: usualDo(r, v.Units), Why: fmt.Sprintf("It comes on its usual day: %s.", r.Text),
					Jot: &farm.Jot{Bin: z.Bin, Zone: z.Zone, What: r.What, Kg: r.Kg, Litres: r.Litres, Of: r.Of},
				})
			}
		}
	}
	return out
}

// asked tells whether what is raised in a zone asks for an act already, or for none now.
func asked(v farm.View, z farm.ZoneView, what farm.JotKind) bool {
	for _, st := range v.Standing {
		if st.Bin == z.Bin && st.Zone == z.Zone && (tasks[st.Condition].jot == what || holdsBack[st.Condition]) {
			return true
		}
	}
	return false
}

// holdsBack are conditions while which nothing is given as usual.
var holdsBack = map[farm.Condition]bool{farm.Heating: true, farm.TooHot: true, farm.TooCold: true}

// usualDo is what to do, with the usual amount.
func usualDo(r farm.Rhythm, u farm.Units) string {
	amount := ""
	switch {
	case r.Litres > 0:
		amount = u.Volume(r.Litres)
	case r.Kg > 0:
		amount = u.Mass(r.Kg)
	}
	of := func(what string) string {
		if amount == "" {
			return what
		}
		return amount + " of " + what
	}
	switch r.What {
	case farm.Watered:
		return "Give " + of("water") + "."
	case farm.Fed:
		if r.Of == "" {
			return "Feed it " + amount + " as usual."
		}
		return "Feed " + of(r.Of) + "."
	case farm.Bedded:
		return "Lay " + of("dry bedding") + "."
	}
	return "Turn it."
}
