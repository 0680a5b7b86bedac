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
	text := fmt.Sprintf("%s is no longer %s: %s now", s.place(z.who), adjective[c], s.levelOf(z, c))
	if lasted := at.Sub(r.Since); lasted > 0 {
		text += fmt.Sprintf(", after %s", farm.SayLong(lasted))
	}
	if r.HasPeak {
		text += fmt.Sprintf(" (it reached %s)", s.measure(c, r.Peak))
	}
	return saying{text: text + "."}
}

var adjective = map[farm.Condition]string{
	farm.TooHot: "too hot", farm.TooCold: "too cold", farm.TooDry: "too dry", farm.TooWet: "too wet",
}

// ofHeat tells whether a condition is about temperature.
func ofHeat(c farm.Condition) bool { return c == farm.TooHot || c == farm.TooCold || c == farm.Heating }

func (s *State) levelOf(z *zone, c farm.Condition) string {
	v, l := z.Moist.Value, z.water
	if ofHeat(c) {
		v, l = z.Temp.Value, z.heat
	}
	if said := s.measure(c, v); !slices.Contains([]string{
		s.measure(c, l.lowHarm), s.measure(c, l.lowMild), s.measure(c, l.highMild), s.measure(c, l.highHarm)}, said) {
		return said
	}
	return s.finer(c, v, l)
}

// finer writes a level that would else look the same as the limit it is past.
func (s *State) finer(c farm.Condition, v float64, l limits) string {
	for digits := 1; digits <= 2; digits++ {
		said := s.digits(c, v, digits)
		if !slices.Contains([]string{
			s.digits(c, l.lowHarm, digits), s.digits(c, l.lowMild, digits), s.digits(c, l.highMild, digits), s.digits(c, l.highHarm, digits)}, said) {
			return said
		}
	}
	return "a hair past " + s.measure(c, v)
}

// digits writes a level with so many decimals.
func (s *State) digits(c farm.Condition, v float64, n int) string {
	switch {
	case !ofHeat(c):
		return fmt.Sprintf("%.*f %%", n, v)
	case s.farm.Units == farm.US:
		return fmt.Sprintf("%.*f °F", n, farm.FahrenheitOf(v))
	}
	return fmt.Sprintf("%.*f °C", n, v)
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
	text := s.whereItStands(z, c, at)
	if z.bands.temp.IsZero() {
		text += " " + s.whoSuffers(z, z.Temp.Value)
	} else {
		text += " " + s.pastLimit(c, z.Temp.Value, z.heat)
	}
	next := s.nextLimit(z, c, u, at)
	text += s.sayNext(c, next, harmOf(c, z.heat), at)
	return saying{text: text, advice: &farm.Advice{Do: heatDo(z.spec.Aim, c)}, forecast: next, cautions: heatCautions(c)}
}

// whoSuffers sorts the species of a zone by how they do at a temperature:
// who suffers first, who does not mind last.
func (s *State) whoSuffers(z *zone, tempC float64) string {
	words := map[string][]string{}
	for _, sp := range z.bin.species {
		w := husbandry.Word(sp, tempC)
		words[w] = append(words[w], sp.Name)
	}
	danger := len(words[husbandry.InDanger]) > 0
	var parts []string
	for _, w := range []string{husbandry.InDanger, husbandry.Slowed, husbandry.Resting, husbandry.Thriving} {
		if names := words[w]; len(names) > 0 {
			part := farm.SayList(names) + " are " + w
			if danger && (w == husbandry.Slowed || w == husbandry.Resting) {
				part += ", but not in danger"
			}
			parts = append(parts, part)
		}
	}
	return farm.Capital(strings.Join(parts, "; ")) + "."
}

// pastLimit says which of a zone's own limits has been passed.
func (s *State) pastLimit(c farm.Condition, v float64, l limits) string {
	mild, harm, past := l.highMild, l.highHarm, func(a, b float64) bool { return a > b }
	if c == farm.TooCold || c == farm.TooDry {
		mild, harm, past = l.lowMild, l.lowHarm, func(a, b float64) bool { return a < b }
	}
	if past(v, harm) {
		return fmt.Sprintf("Past %s there is harm.", s.measure(c, harm))
	}
	return fmt.Sprintf("The limit for doing well is %s.", s.measure(c, mild))
}

// harmOf is the limit past which a condition does harm.
func harmOf(c farm.Condition, l limits) float64 {
	if c == farm.TooCold || c == farm.TooDry {
		return l.lowHarm
	}
	return l.highHarm
}

// sayNext says when the limit of harm is passed, where that is foreseen.
func (s *State) sayNext(c farm.Condition, f *farm.Forecast, limit float64, at time.Time) string {
	if f == nil {
		return ""
	}
	return fmt.Sprintf(" It will pass %s %s.", s.measure(c, limit), farm.SayTime(f.Crosses, at, s.farm.Location))
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
	next := s.nextLimit(z, c, u, at)
	text := s.whereItStands(z, c, at) + " " + s.pastLimit(c, z.Moist.Value, z.water) + s.sayNext(c, next, harmOf(c, z.water), at)
	say := saying{text: text, forecast: next}
	switch c {
	case farm.TooDry:
		say.advice = s.dryAdvice(z)
	case farm.TooWet:
		say.advice = s.wetAdvice(z)
	}
	say.cautions = s.siftCautions(z, c)
	return say
}
