package rules

import (
	"fmt"
	"hash/fnv"
	"math"

	"binwatchd/internal/farm"
)

// A configuration that changes while something is raised can end it without
// anything getting better: the bin is called otherwise, its probe is elsewhere,
// or its limits are others. The keeper is told that, and never that all is
// well.

// unwatchedFor tells why a condition can arise no more where the farm still has
// its place; "" when it can.
func (s *State) unwatchedFor(who subject, c farm.Condition) string {
	if who.Probe != "" {
		if p := s.byID[who.Probe]; c == farm.BatteryLow && p != nil && (p.spec.Measures != farm.Battery || p.spec.Low == 0) {
			return "it has no limit for a battery any more"
		}
		return ""
	}
	z := s.zoneOf(who)
	if z == nil {
		return ""
	}
	switch {
	case !arises(c, z.spec.Aim):
		return fmt.Sprintf("its aim is %s now", z.spec.Aim)
	case c.Quantity() == farm.Temperature && len(z.temps) == 0, c.Quantity() == farm.Moisture && len(z.moists) == 0:
		return fmt.Sprintf("no probe measures %s there now", c.Quantity())
	}
	return ""
}

func (s *State) zoneOf(who subject) *zone {
	for _, z := range s.zones {
		if z.who == who {
			return z
		}
	}
	return nil
}

// arises tells whether a condition can be one of a zone with that aim.
func arises(c farm.Condition, aim farm.Aim) bool {
	switch c {
	case farm.Heating, farm.FeedDue:
		return aim == farm.Living
	case farm.Drying, farm.TooWet:
		return aim != farm.Sifting
	case farm.SiftReady, farm.SiftPassing:
		return aim == farm.Sifting
	case farm.Hatching:
		return aim == farm.Keeping
	}
	return true
}

// sayUnwatched says that nobody looks any more, and why.
func (s *State) sayUnwatched(who subject, c farm.Condition) string {
	if why := s.unwatchedFor(who, c); why != "" && s.has(who) {
		return fmt.Sprintf("%s is not watched for this any more (%s): %s. How it is there is not known.", s.place(who), c, why)
	}
	name := s.place(who)
	if who.Probe == "" && who.Bin != "" {
		_, ok := s.farm.BinByName(who.Bin)
		name = farm.SayPlace(who.Bin, who.Zone, !ok)
	}
	return name + " is no longer in the configuration; what was told of it is not watched any more."
}

// has tells whether the farm has a subject.
func (s *State) has(who subject) bool {
	if who.Probe != "" {
		return s.byID[who.Probe] != nil
	}
	return s.zoneOf(who) != nil
}

// markRelimited remembers the levels at which other limits came into force
// under what is raised, where they see nothing wrong in that level.
func (s *State) markRelimited() {
	for _, z := range s.zones {
		was := z.LimitsName
		if z.LimitsName = z.limitsName(); was == 0 || was == z.LimitsName {
			continue
		}
		for _, c := range farm.Conditions {
			if z.record(c).raised() {
				z.mark(c)
			}
		}
	}
}

// mark remembers the level of a zone as one that is well by the limits now in
// force, if it is.
func (z *zone) mark(c farm.Condition) {
	l := z.judgedBy(c)
	if r := z.record(c); c.Quantity() != "" && !l.At.IsZero() && !z.pastAny(c) {
		r.Relimited, r.HasRelimited = l.Value, true
	}
}

// limitsName tells one set of limits from another: it is made of all that they
// are worked out from.
func (z *zone) limitsName() uint64 {
	h := fnv.New64a()
	fmt.Fprint(h, z.spec.Aim, z.spec.LookAhead, z.spec.Bands, z.bands.temp, z.bands.moist, z.bin.spec.Species)
	for _, sp := range z.bin.species {
		fmt.Fprint(h, sp.ID, sp.Temperature, sp.Moisture)
	}
	return h.Sum64()
}

// judgedBy is the level that a condition of a zone goes by.
func (z *zone) judgedBy(c farm.Condition) level {
	if c.Quantity() == farm.Temperature {
		return z.Temp
	}
	return z.Moist
}

// marginOf is how far inside a limit of a condition counts as back.
func (z *zone) marginOf(c farm.Condition) float64 {
	if c.Quantity() == farm.Temperature {
		return z.spec.Margin[farm.Temperature]
	}
	return z.spec.Margin[farm.Moisture]
}

// pastAny tells whether a zone is past any limit of a band condition; a
// forecast or a window has none.
func (z *zone) pastAny(c farm.Condition) bool {
	l, e := z.judgedBy(c), z.edgeOf(c)
	if adjective[c] == "" {
		return false
	}
	return e.past(farm.Soon, l.Value) || e.past(farm.Today, l.Value) || e.past(farm.Now, l.worst(e.up).Value)
}

// relimited gives an easing other words when it is the limits that have
// changed: the level is where it was when they came into force.
func (s *State) relimited(r *record, ch *farm.Change) {
	if !r.HasRelimited {
		return
	}
	z := s.zoneOf(subject{Bin: ch.Bin, Zone: ch.Zone})
	l, moved := z.judgedBy(ch.Condition), z.marginOf(ch.Condition)
	if ch.Change == farm.Eased && math.Abs(l.Value-r.Relimited) <= moved {
		ch.Ended, ch.Text = farm.Relimited, fmt.Sprintf("%s is not %s by the limits now in force: %s.",
			s.place(z.who), foundBy[ch.Condition], s.levelOf(z, ch.Condition))
		r.Text = ch.Text
	}
	r.HasRelimited = ch.Change == farm.Lightened
}

// foundBy says what limits find of a zone.
var foundBy = map[farm.Condition]string{
	farm.TooHot: "too hot", farm.TooCold: "too cold", farm.TooDry: "too dry", farm.TooWet: "too wet",
	farm.Heating: "foreseen to be too hot", farm.Drying: "foreseen to be too dry",
	farm.SiftReady: "ready to sift", farm.SiftPassing: "near the end of its time to sift",
}
