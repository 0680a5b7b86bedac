package rules

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// place names a subject as a keeper would: "Bed, near"; a bin whose only zone
// needs no name of its own is just "Crate".
func (s *State) place(who subject) string {
	switch {
	case who.Bin == "" && who.Probe != "":
		return "Probe " + who.Probe
	case who.Bin == "":
		return "The farm"
	}
	b, _ := s.farm.BinByName(who.Bin)
	return farm.SayPlace(who.Bin, who.Zone, len(b.Zones) == 1)
}

// sayingBand speaks of a band condition: where it stands, who suffers and who
// does not mind, and what to do.
func (s *State) sayingBand(z *zone, c farm.Condition, u farm.Urgency, at time.Time) func(farm.ChangeKind) saying {
	return func(kind farm.ChangeKind) saying {
		if kind == farm.Eased {
			return s.sayEased(z, c, at)
		}
		say := s.bandWords(z, c, u, at)
		if kind == farm.Lightened {
			say.text = "Better, though not right yet. " + say.text
		}
		return say
	}
}

func (s *State) sayEased(z *zone, c farm.Condition, at time.Time) saying {
	r := z.record(c)
	lost := s.sayLost(z, c, r.Since)
	no := "no longer"
	if lost != "" {
		no = "no longer known to be"
	}
	text := fmt.Sprintf("%s is %s %s: %s now", s.place(z.who), no, adjective[c], s.levelOf(z, c))
	if lasted := at.Sub(r.Since); lasted > 0 {
		text += fmt.Sprintf(", after %s", farm.SayLong(lasted))
	}
	if r.HasPeak {
		text += fmt.Sprintf(" (it reached %s)", s.measure(c, r.Peak))
	}
	return saying{text: text + "." + lost}
}

// sayLost names a probe that was past a limit when it was last believed, since a
// condition was raised, and has nothing to say now: what ends is what is known.
func (s *State) sayLost(z *zone, c farm.Condition, raised time.Time) string {
	for _, p := range z.probesOf(c) {
		if p.fresh(s.now) || p.GoodAt.Before(raised) || z.edgeOf(c).farthest(p.Good.Value) == farm.Calm {
			continue
		}
		return fmt.Sprintf(" But %s said %s %s and has not been heard or believed since: look there.",
			p.spec.ID, s.value(z, c, p.Good.Value), farm.SayTime(p.Good.At, s.now, s.farm.Location))
	}
	return ""
}

var adjective = map[farm.Condition]string{
	farm.TooHot: "too hot", farm.TooCold: "too cold", farm.TooDry: "too dry", farm.TooWet: "too wet",
}

// ofHeat tells whether a condition is about temperature.
func ofHeat(c farm.Condition) bool { return c == farm.TooHot || c == farm.TooCold || c == farm.Heating }

// levelOf says the level that a condition is about, and both ends where several
// probes speak.
func (s *State) levelOf(z *zone, c farm.Condition) string {
	l := z.judgedBy(c)
	said := s.value(z, c, l.Value)
	if ends := s.ends(z, c); ends != "" {
		said += " (" + ends + ")"
	}
	return said
}

// ends names both ends of a level with their probes, the worse one first: "near
// 37.8 °C, far 26 °C". It is "" where one probe speaks.
func (s *State) ends(z *zone, c farm.Condition) string {
	l := z.judgedBy(c)
	if !l.several() {
		return ""
	}
	worse, better := l.High, l.Low
	if !z.edgeOf(c).up {
		worse, better = better, worse
	}
	most, least := s.value(z, c, worse.Value), s.value(z, c, better.Value)
	if most == least {
		return ""
	}
	return fmt.Sprintf("%s %s, %s %s", worse.Probe, most, better.Probe, least)
}

// sayMissed names the probe that nothing has been heard of since it was past the
// limit of an urgency; "" when there is none.
func (s *State) sayMissed(z *zone, c farm.Condition, u farm.Urgency) string {
	l := z.judgedBy(c)
	for _, p := range z.probesOf(c) {
		if p.missed(s.now) && z.edgeOf(c).past(u, l.Steady+p.Apart) {
			return fmt.Sprintf("where %s sits: %s when it was last heard, %s (elsewhere %s)", p.spec.ID,
				s.value(z, c, p.Good.Value), farm.SayTime(p.Good.At, s.now, s.farm.Location), s.value(z, c, l.Value))
		}
	}
	return ""
}

// edgeOf is the side of its quantity on which a condition lies.
func (z *zone) edgeOf(c farm.Condition) edge {
	switch c {
	case farm.TooHot, farm.Heating:
		return z.heat.high
	case farm.TooCold:
		return z.heat.low
	case farm.TooWet:
		return z.water.high
	}
	return z.water.low
}

// suffered is the level that decides who suffers: the middle, or the worst where
// that is past the limit of harm.
func (s *State) suffered(z *zone, c farm.Condition) float64 {
	l, e := z.judgedBy(c), z.edgeOf(c)
	if worst := l.worstMissed(z.probesOf(c), e.up, s.now); e.past(farm.Now, worst) {
		return worst
	}
	return l.Value
}

// value writes a level so that it never looks the same as a limit it is past.
func (s *State) value(z *zone, c farm.Condition, v float64) string {
	l, q := z.water, farm.Moisture
	if ofHeat(c) {
		l, q = z.heat, farm.Temperature
	}
	limits := slices.Concat(l.low.limit[farm.Soon:], l.high.limit[farm.Soon:])
	if z.spec.Aim == farm.Sifting && q == farm.Moisture { // its window opens and closes there
		limits = append(limits, z.bands.moist.Thrive.Low, z.bands.moist.Thrive.High)
	}
	return s.farm.Units.Beside(q, v, limits...)
}

func (s *State) measure(c farm.Condition, v float64) string {
	if ofHeat(c) {
		return s.farm.Units.Temperature(v)
	}
	return s.farm.Units.Moisture(v)
}

// bandWords are the words while a band condition is raised.
func (s *State) bandWords(z *zone, c farm.Condition, u farm.Urgency, at time.Time) saying {
	if ofHeat(c) {
		return s.heatWords(z, c, u, at)
	}
	return s.waterWords(z, c, u, at)
}

func (s *State) heatWords(z *zone, c farm.Condition, u farm.Urgency, at time.Time) saying {
	text := s.whereItStands(z, c, u, at)
	if z.byMass(farm.Temperature) {
		text += " " + s.whoSuffers(z, c, husbandry.Word)
	} else {
		text += " " + s.pastLimit(z, c)
	}
	next := s.nextLimit(z, c, u, at)
	text += s.sayNext(c, next, at)
	return saying{text: text, advice: s.heatAdvice(z, c, at), forecast: next, cautions: heatCautions(c)}
}

// byMass tells whether a zone is judged by what its worms bear, not by bands of
// its own or its aim's.
func (z *zone) byMass(q farm.Quantity) bool {
	return z.spec.Aim == farm.Living && len(z.bin.worms) > 0 && z.spec.Bands[q].IsZero()
}

// whoSuffers sorts the species of a zone by how they do: who suffers first, who
// does not mind last; of several, each with its part of the worms.
func (s *State) whoSuffers(z *zone, c farm.Condition, word func(farm.Species, float64) string) string {
	words, parts := map[string][]string{}, map[string]float64{}
	for _, w := range z.bin.worms {
		how := word(w.Species, s.suffered(z, c))
		words[how] = append(words[how], w.Name)
		parts[how] += w.Part
	}
	danger := len(words[husbandry.InDanger]) > 0
	var said []string
	for _, how := range husbandry.Words {
		names := words[how]
		if len(names) == 0 {
			continue
		}
		part := farm.SayPart(farm.SayList(names), parts[how]) + feels[how] + how
		if danger && how != husbandry.InDanger && how != husbandry.Thriving {
			part += ", but not in danger"
		}
		said = append(said, part)
	}
	return farm.Capital(strings.Join(said, "; ")) + "."
}

// feels joins a species and how it does.
var feels = map[string]string{
	husbandry.InDanger: " are ", husbandry.Slowed: " are ", husbandry.Resting: " are ", husbandry.Thriving: " are ",
	husbandry.Parched: " have it ", husbandry.Soaked: " have it ",
}

// pastLimit says which of a zone's limits has been passed.
func (s *State) pastLimit(z *zone, c farm.Condition) string {
	e := z.edgeOf(c)
	if e.past(farm.Now, s.suffered(z, c)) {
		return fmt.Sprintf("Past %s there is harm.", s.measure(c, e.harm()))
	}
	return fmt.Sprintf("The limit for doing well is %s.", s.measure(c, e.mild()))
}

// sayNext says when the next limit is passed, where that is foreseen.
func (s *State) sayNext(c farm.Condition, f *farm.Forecast, at time.Time) string {
	if f == nil {
		return ""
	}
	return fmt.Sprintf(" It will pass %s %s.", s.measure(c, f.Limit), farm.SayTime(f.Crosses, at, s.farm.Location))
}

// heatAdvice is what to do about warmth; what was turned of late is not to be
// turned again so soon.
func (s *State) heatAdvice(z *zone, c farm.Condition, at time.Time) *farm.Advice {
	a := &farm.Advice{Do: heatDo(z.spec.Aim, c)}
	if until := z.turned(at); until != nil && c == farm.TooHot && z.spec.Aim == farm.Living {
		a.Wait = until
		a.Do = fmt.Sprintf("Turned %s. Shade it or move it somewhere cooler if it stays hot, hold back feed until it has cooled, and look again %s at the latest.",
			s.whenDone(z.Husbandry.Turned, at), s.onDay(*until, at))
	}
	return a
}

func heatDo(aim farm.Aim, c farm.Condition) string {
	switch {
	case c == farm.TooHot && aim == farm.Living:
		return "Open it and loosen the warm part, shade it or move it somewhere cooler, and hold back feed until it has cooled."
	case c == farm.TooHot:
		return "Move it somewhere cooler or shade it."
	case aim == farm.Living:
		return "Cover it or bring it somewhere warmer, and feed little until it has warmed up."
	}
	return "Bring it somewhere frost-free or wrap it."
}

// heatCautions apply where the keeper may reach for a heater.
func heatCautions(c farm.Condition) []string {
	if c != farm.TooCold {
		return nil
	}
	return []string{"A mains heater by a wet bin needs residual-current protection (RCD/GFCI), weatherproof listed equipment and a thermostat with its own cut-out; local codes and a licensed electrician decide. This program must never be the only safety device."}
}

func (s *State) waterWords(z *zone, c farm.Condition, u farm.Urgency, at time.Time) saying {
	text := s.whereItStands(z, c, u, at)
	if z.byMass(farm.Moisture) {
		text += " " + s.whoSuffers(z, c, husbandry.MoistWord)
	}
	if !z.byMass(farm.Moisture) || len(z.bin.worms) == 1 {
		text += " " + s.pastLimit(z, c)
	}
	next := s.nextLimit(z, c, u, at)
	say := saying{text: text + s.sayNext(c, next, at), forecast: next}
	switch c {
	case farm.TooDry:
		say.advice = s.dryAdvice(z, at)
	case farm.TooWet:
		say.advice = s.wetAdvice(z, at)
	}
	say.cautions = s.siftCautions(z, c)
	return say
}
