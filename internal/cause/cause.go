// Package cause finds what raised conditions have in common: bins that go cold in one
// shed, probes that fall silent with their gateway. It is a pure function of the farm,
// of a view of it and of what is raised, so that a mail and a page can say the one
// thing that is to be seen to, in place of the same thing for each bin.
//
// In reading order: table.go is the kinds of causes with their words, cause.go finds
// them, quiet.go those of probes that no longer speak; air.go is what is known of the air, and
// say.go puts a cause into words.
package cause

import (
	"cmp"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// A Key names a cause. What is raised with the same key is told as one.
type Key struct {
	Kind Kind
	Air  string // room, or probe, whose air it is; "" where that is not known, and of probes that no longer speak
}

// IsZero tells whether there is no cause to share.
func (k Key) IsZero() bool { return k == Key{} }

// KeyOf gives the cause that a condition may share with others; zero where it is a
// matter of its bin or probe alone. What has heated by itself is no matter of the air.
func KeyOf(f *farm.Farm, standing []farm.Standing, c farm.Standing) Key {
	for i := range Table {
		row := &Table[i]
		switch {
		case !slices.Contains(row.Conditions, c.Condition):
		case row.Kind == Quiet:
			return Key{Kind: Quiet}
		case row.Kind == Heat && slices.ContainsFunc(standing, func(o farm.Standing) bool {
			return o.Condition == farm.Heating && o.Bin == c.Bin && o.Zone == c.Zone
		}):
		default:
			b, _ := f.BinByName(c.Bin)
			return Key{row.Kind, cmp.Or(b.Room, b.Ambient)}
		}
	}
	return Key{}
}

// A Cause is something that several bins or probes suffer from.
type Cause struct {
	Key
	Fault   Fault           // of probes that no longer speak
	Gateway string          // that they speak through; "" where that is not known
	Facts   []farm.Standing // the conditions that it shows in, to be seen to in this order; one for each zone
	Covered []farm.Standing // those that a fact of the same zone says, too
	Probes  []string        // that no longer speak, also those of which that is not said yet
	Since   time.Time       // of probes: when the last of them spoke; else when the first condition was raised

	quiet []*heard
	farm  *farm.Farm
	view  *farm.View
}

// Find gives the causes of what is raised: each of two bins or of two probes at least. What is
// left over is a matter of its own.
func Find(f *farm.Farm, v *farm.View, raised []farm.Standing) (all []Cause) {
	for _, row := range Table {
		byAir := map[Key][]farm.Standing{}
		var order []Key
		for _, st := range raised {
			k := KeyOf(f, v.Standing, st)
			if k.Kind != row.Kind {
				continue
			}
			if byAir[k] == nil {
				order = append(order, k)
			}
			byAir[k] = append(byAir[k], st)
		}
		for _, k := range order {
			if k.Kind == Quiet {
				all = append(all, quiet(f, v, byAir[k])...)
			} else if c := ofAir(f, v, k, byAir[k]); c.bins() > 1 {
				all = append(all, c)
			}
		}
	}
	return all
}

// Has tells whether a cause shows in an episode.
func (c *Cause) Has(episode string) bool { return slices.Contains(c.Episodes(), episode) }

// Episodes are all that a cause shows in.
func (c *Cause) Episodes() (all []string) {
	for _, st := range slices.Concat(c.Facts, c.Covered) {
		all = append(all, st.Episode)
	}
	return all
}

// ofAir is the cause of what is raised in bins of one air.
func ofAir(f *farm.Farm, v *farm.View, k Key, raised []farm.Standing) Cause {
	c := Cause{Key: k, farm: f, view: v}
	raised = slices.Clone(raised)
	slices.SortStableFunc(raised, func(a, b farm.Standing) int {
		return cmp.Or(cmp.Compare(b.Urgency, a.Urgency), cmp.Compare(c.rank(a), c.rank(b)), cmp.Compare(c.past(b), c.past(a)), crosses(a).Compare(crosses(b)))
	})
	for _, st := range raised {
		if c.Since.IsZero() || st.Since.Before(c.Since) {
			c.Since = st.Since
		}
		if slices.ContainsFunc(c.Facts, func(o farm.Standing) bool { return o.Bin == st.Bin && o.Zone == st.Zone }) {
			c.Covered = append(c.Covered, st)
		} else {
			c.Facts = append(c.Facts, st)
		}
	}
	return c
}

// rank puts what is there before what is foreseen.
func (c *Cause) rank(st farm.Standing) int {
	return slices.Index(c.Kind.row().Conditions, st.Condition)
}

// past is how far a zone is past what it survives, in kelvins; less than 0: it is not.
func (c *Cause) past(st farm.Standing) float64 {
	z, _ := c.view.Zone(st.Bin, st.Zone)
	l := z.Level(farm.Temperature)
	switch {
	case l == nil || l.Bands.IsZero():
		return 0
	case c.Kind == Heat:
		return worst(l, farm.Above) - l.Bands.Survive.High
	}
	return l.Bands.Survive.Low - worst(l, farm.Below)
}

// worst is a level where it is worst.
func worst(l *farm.LevelView, side farm.Side) float64 {
	switch {
	case side == farm.Above && l.Highest != nil:
		return l.Highest.Value
	case side == farm.Below && l.Lowest != nil:
		return l.Lowest.Value
	}
	return l.Value
}

func crosses(st farm.Standing) time.Time {
	if st.Forecast == nil {
		return time.Time{}
	}
	return st.Forecast.Crosses
}

// bins counts those that it shows in.
func (c *Cause) bins() int {
	names := map[string]bool{}
	for _, st := range c.Facts {
		names[st.Bin] = true
	}
	return len(names)
}
