package rounds

import (
	"cmp"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// List makes the care list of a view. Times in sentences are in loc.
func List(v farm.View, loc *time.Location) farm.Rounds {
	r := farm.Rounds{At: v.At, Farm: v.Farm, Needs: v.Needs, Unsure: v.Unsure(loc)}
	load := load{units: v.Units}
	for _, st := range v.Standing {
		switch {
		case st.Hushed != nil:
			r.Hushed = append(r.Hushed, sayHushed(st, *st.Hushed, v.At, loc))
		case st.Probe != "" || st.Bin == "":
			r.Probes = append(r.Probes, sayMachinery(st))
		case seenTo(st, v.At) && isWater(st.Condition):
			if !covered(st, v.Standing) {
				r.Done = append(r.Done, sayDone(&v, st))
			}
		case !covered(st, v.Standing):
			c := care(st, v.At)
			load.add(st)
			r.Care = append(r.Care, c)
			r.Cautions = appendNew(r.Cautions, st.Cautions...)
		}
	}
	order(r.Care)
	r.Bring = load.list()
	r.Opening = opening(&v, r)
	if v.Intake.Unwritten != nil {
		r.Opening = "Nothing has been judged lately, because the journal can't be written. " + r.Opening
	}
	return r
}

// covered tells whether another raised condition of the zone says all this and
// more: what is too dry need not also be told that it is drying.
func covered(st farm.Standing, all []farm.Standing) bool {
	by := map[farm.Condition]farm.Condition{
		farm.Drying: farm.TooDry, farm.Heating: farm.TooHot, farm.SiftReady: farm.SiftPassing,
	}[st.Condition]
	return by != "" && slices.ContainsFunc(all, func(o farm.Standing) bool {
		return o.Bin == st.Bin && o.Zone == st.Zone && o.Condition == by && o.Hushed == nil && o.Urgency >= st.Urgency
	})
}

// seenTo tells whether what a condition asks for was done so lately that it is
// not asked for again.
func seenTo(st farm.Standing, at time.Time) bool {
	return st.Advice != nil && st.Advice.Wait != nil && st.Advice.Wait.After(at)
}

// isWater tells whether a condition is about water, where doing more before the
// last has shown does harm. What is hot stays on the list all the same.
func isWater(c farm.Condition) bool {
	return c == farm.TooDry || c == farm.Drying || c == farm.TooWet
}

// care makes the line for one raised condition.
func care(st farm.Standing, at time.Time) farm.Care {
	c := farm.Care{
		Bin: st.Bin, Zone: st.Zone, Condition: st.Condition, Episode: st.Episode, Urgency: st.Urgency,
		Why: st.Text, Seen: st.Seen, Jot: jotFor(st), Bring: bring(st),
	}
	if st.Advice != nil {
		c.Do = st.Advice.Do
	}
	if c.Jot != nil && c.Jot.What == farm.Sifted {
		c.Over = &farm.Jot{Bin: st.Bin, Zone: st.Zone, What: farm.Finished}
	}
	if seenTo(st, at) || st.Advice != nil && st.Advice.First {
		c.Jot = nil // it stands in the logbook, or is not to be done now
	}
	return c
}

// jotFor is the line that the keeper will want to write when it is done.
func jotFor(st farm.Standing) *farm.Jot {
	j := farm.Jot{Bin: st.Bin, Zone: st.Zone}
	a := st.Advice
	if a == nil {
		a = &farm.Advice{}
	}
	switch st.Condition {
	case farm.TooDry, farm.Drying:
		j.What, j.Litres = farm.Watered, a.VisitLitres
	case farm.TooWet:
		j.What, j.Kg = farm.Bedded, a.BeddingKg
	case farm.FeedDue:
		j.What, j.Kg, j.Of = farm.Fed, a.FeedKg, a.FeedOf
	case farm.SiftReady, farm.SiftPassing:
		j.What, j.Litres, j.To = farm.Sifted, a.SiftLitres, a.SiftTo
	case farm.Hatching:
		j.What = farm.Lifted
	case farm.Heating, farm.TooHot:
		j.What = farm.Turned
	default:
		return nil
	}
	return &j
}

// order puts the bin with the most urgent line first and keeps a bin's lines
// together, most urgent first.
func order(lines []farm.Care) {
	worst := map[string]farm.Urgency{}
	first := map[string]int{}
	for i, c := range lines {
		worst[c.Bin] = max(worst[c.Bin], c.Urgency)
		if _, ok := first[c.Bin]; !ok {
			first[c.Bin] = i
		}
	}
	slices.SortStableFunc(lines, func(a, b farm.Care) int {
		return cmp.Or(
			cmp.Compare(worst[b.Bin], worst[a.Bin]),
			cmp.Compare(first[a.Bin], first[b.Bin]),
			cmp.Compare(b.Urgency, a.Urgency),
		)
	})
}

func appendNew(list []string, more ...string) []string {
	for _, m := range more {
		if !slices.Contains(list, m) {
			list = append(list, m)
		}
	}
	return list
}
