// Package rounds makes the care list: what to do at each bin today, in the order
// in which one walks, with amounts, what to bring, and why. It is a pure
// function of a view of the farm; the command, the page and the weekly mail
// all show the one list. It raises nothing and judges nothing by itself.
package rounds

import (
	"cmp"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// List makes the care list of a view. Sentences say times by dates.
func List(v farm.View, dates farm.Dates) farm.Rounds {
	r := farm.Rounds{At: v.At, Farm: v.Farm, Needs: v.Needs, Causes: v.Causes, Changed: v.Changed, Unsure: v.Unsure(dates)}
	load := load{amounts: map[farm.JotKind]float64{}}
	for _, st := range v.Standing {
		switch {
		case st.Hushed != nil:
			r.Hushed, r.Quiet = append(r.Hushed, sayHushed(&v, st, dates)), append(r.Quiet, care(st, v.At))
		case st.Probe != "" || st.Bin == "":
			r.Probes = append(r.Probes, sayMachinery(st))
		case covered(st, v.Standing):
		case seenTo(st, v.At) && tasks[st.Condition].water:
			r.Done = append(r.Done, sayDone(&v, st))
		default:
			load.add(st, v.At)
			r.Care = append(r.Care, care(st, v.At))
			r.Cautions = appendNew(r.Cautions, st.Cautions...)
		}
	}
	for _, c := range usual(v, dates.Location) {
		load.carry(c.Jot)
		r.Care = append(r.Care, c)
	}
	for _, b := range v.Bins {
		for _, z := range b.Zones {
			for _, seen := range z.Seen {
				r.Seen = append(r.Seen, farm.SayPlace(z.Bin, z.Zone, len(b.Zones) == 1)+": "+seen.Text)
				if seen.Caution != "" {
					r.Cautions = appendNew(r.Cautions, seen.Caution)
				}
			}
		}
	}
	order(r.Care, v.Bins)
	for i := range r.Care {
		r.Care[i].Room = roomOf(r.Care[i].Bin, v.Bins)
	}
	r.Bring, r.Well, r.Left = load.list(v.Units), wellBins(v, dates), left(v, r.Care)
	if r.Opening = opening(&v, r); v.Intake.Unwritten != nil {
		r.Opening = "Nothing has been judged lately, because the journal can't be written. " + r.Opening
	}
	return r
}

// A task is what a condition asks of the keeper.
type task struct {
	jot    farm.JotKind   // that is written down when it is done
	within farm.Condition // that says all this and more, once it is raised
	water  bool           // doing more before the last has shown does harm
	bring  []string       // beside water, feed and bedding
}

var tasks = map[farm.Condition]task{
	farm.TooHot:      {jot: farm.Turned},
	farm.TooDry:      {jot: farm.Watered, water: true},
	farm.TooWet:      {jot: farm.Bedded, water: true},
	farm.Heating:     {jot: farm.Turned, within: farm.TooHot},
	farm.Cooling:     {within: farm.TooCold},
	farm.Warming:     {within: farm.TooHot},
	farm.Drying:      {jot: farm.Watered, within: farm.TooDry, water: true},
	farm.SiftReady:   {jot: farm.Sifted, within: farm.SiftPassing, bring: siftingThings},
	farm.SiftPassing: {jot: farm.Sifted, bring: siftingThings},
	farm.FeedDue:     {jot: farm.Fed},
	farm.Hatching:    {jot: farm.Lifted, bring: []string{"a little fine feed"}},
	farm.BatteryLow:  {bring: []string{"a fresh battery"}},
}

var (
	siftingThings = []string{"a screen", "a mask"}
	turningThings = []string{"a fork"}
)

// covered tells whether another raised condition of the zone says all this and
// more: what is too dry need not also be told that it is drying.
func covered(st farm.Standing, all []farm.Standing) bool {
	by := tasks[st.Condition].within
	return by != "" && slices.ContainsFunc(all, func(o farm.Standing) bool {
		return o.Bin == st.Bin && o.Zone == st.Zone && o.Condition == by && o.Hushed == nil && o.Urgency >= st.Urgency
	})
}

// seenTo tells whether what a condition asks for was done so lately that it is
// not asked for again.
func seenTo(st farm.Standing, at time.Time) bool {
	wait := advice(st).Wait
	return wait != nil && wait.After(at)
}

// advice is what a raised condition advises; empty where it advises nothing.
func advice(st farm.Standing) farm.Advice {
	return *cmp.Or(st.Advice, &farm.Advice{})
}

// care makes the line for one raised condition.
func care(st farm.Standing, at time.Time) farm.Care {
	c := farm.Care{
		Usual: st.RoundsUntil != nil,
		Bin:   st.Bin, Zone: st.Zone, Condition: st.Condition, Quantity: st.Quantity, Episode: st.Episode, Urgency: st.Urgency,
		Do: advice(st).Do, Why: st.Text, Seen: st.Seen, Known: st.Known, KnownBy: st.KnownBy, Taken: st.Taken, Jot: jotFor(st), Bring: tasks[st.Condition].bring,
	}
	if c.Jot != nil && c.Jot.What == farm.Sifted {
		c.Over = &farm.Jot{Bin: st.Bin, Zone: st.Zone, What: farm.Finished}
	}
	if seenTo(st, at) || advice(st).First {
		c.Jot = nil // it stands in the logbook, or is not to be done now
	}
	return c
}

// jotFor is the line that the keeper will want to write when it is done; nil where
// there is none.
func jotFor(st farm.Standing) *farm.Jot {
	j := &farm.Jot{Bin: st.Bin, Zone: st.Zone, What: tasks[st.Condition].jot}
	switch a := advice(st); j.What {
	case "":
		return nil
	case farm.Watered:
		j.Litres = a.VisitLitres
	case farm.Bedded:
		j.Kg = cmp.Or(a.KgLow, a.BeddingKg)
	case farm.Fed:
		j.Kg, j.Of = a.FeedKg, a.FeedOf
	case farm.Sifted:
		j.Litres, j.To = a.SiftLitres, a.SiftTo
	}
	return j
}

// order puts the bins in the order in which one walks, which is the view's, and a
// bin's lines together, most urgent first. The opening names what can't wait for it.
func order(lines []farm.Care, walk []farm.BinView) {
	stop := func(c farm.Care) int {
		return slices.IndexFunc(walk, func(b farm.BinView) bool { return b.Name == c.Bin })
	}
	slices.SortStableFunc(lines, func(a, b farm.Care) int {
		return cmp.Or(cmp.Compare(stop(a), stop(b)), cmp.Compare(b.Urgency, a.Urgency))
	})
}

// roomOf is the room that a bin stands in; "" where none is given.
func roomOf(bin string, all []farm.BinView) string {
	i := slices.IndexFunc(all, func(b farm.BinView) bool { return b.Name == bin })
	if i < 0 {
		return ""
	}
	return all[i].Place
}

func appendNew(list []string, more ...string) []string {
	for _, m := range more {
		if !slices.Contains(list, m) {
			list = append(list, m)
		}
	}
	return list
}

// A load sums up what is to be carried on the walk.
type load struct {
	amounts map[farm.JotKind]float64 // of water, feed and bedding, by the jot that says they were given; 0: nobody knows
	things  []string
}

// supplies are what is carried for a jot, in the order in which they are listed.
var supplies = []struct {
	jot   farm.JotKind
	what  string
	write func(farm.Units, float64) string
}{
	{farm.Watered, "water", farm.Units.Volume},
	{farm.Fed, "feed", farm.Units.Mass},
	{farm.Bedded, "dry bedding", farm.Units.Mass},
	{farm.Sifted, "castings", farm.Units.Volume},
}

func (l *load) add(st farm.Standing, at time.Time) {
	l.things = appendNew(l.things, tasks[st.Condition].bring...)
	j := jotFor(st)
	if j == nil || advice(st).First || seenTo(st, at) {
		return
	}
	l.carry(j)
}

// carry adds what is given by a jot.
func (l *load) carry(j *farm.Jot) {
	l.amounts[j.What] += j.Kg + j.Litres
	switch j.What {
	case farm.Fed:
		l.amounts[farm.Bedded] += 0 // bedding is laid with the food
	case farm.Turned:
		l.things = appendNew(l.things, turningThings...)
	}
}

// list says how much of what, or just what when nobody knows how much.
func (l *load) list(u farm.Units) []string {
	var out []string
	for _, s := range supplies {
		switch amount, carried := l.amounts[s.jot]; {
		case s.jot == farm.Sifted && amount > 0:
			out = append(out, "pans for "+s.write(u, amount)+" of "+s.what)
		case s.jot == farm.Sifted && carried:
			out = append(out, "a pan")
		case amount > 0:
			out = append(out, s.write(u, amount)+" of "+s.what)
		case carried:
			out = append(out, s.what)
		}
	}
	return slices.Concat(out, l.things)
}
