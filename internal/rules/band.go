package rules

import (
	"cmp"
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
	return s.farm.SayPlace(who.Bin, who.Zone)
}

// sayEased is about a level that is back within its limits.
func (s *State) sayEased(b breach, at time.Time) string {
	lost := s.sayLost(b)
	text := s.place(b.zone.who) + " is no longer " + b.rec.row.Is
	switch {
	case b.rec.what.quantity != "":
		text = fmt.Sprintf("%s: its %s is within its limits again", s.place(b.zone.who), b.Noun)
	case lost != "":
		text = s.place(b.zone.who) + " is no longer known to be " + b.rec.row.Is
	}
	text += fmt.Sprintf(": %s now", s.levelOf(b))
	text += s.sayLasted(b, at)
	if b.rec.HasPeak {
		text += fmt.Sprintf(" (it reached %s)", s.say(b, b.rec.Peak))
	}
	text += "."
	if b.byDay() {
		text += s.meanOfDay(b) + "."
	}
	return text + lost
}

// sayLasted says how long the level was past its limits, or how often where it came and
// went: the wait until it counts as over is no part of that.
func (s *State) sayLasted(b breach, at time.Time) string {
	lasted := at.Sub(b.rec.Since)
	for _, l := range b.hysteresis { // the mildest limit first: it was past that for longest
		if came := l.Came; !came.Held.Before(b.rec.Since) {
			if came.Times > 1 {
				return ", after it came " + s.timesSince(came.Times, came.First, at)
			}
			lasted = came.Held.Sub(came.First)
			break
		}
	}
	if lasted > 0 {
		return ", after " + farm.SayLong(lasted)
	}
	return ""
}

// byDay tells whether a level is held against the mean of its day, and that is known.
func (m *measured) byDay() bool {
	_, known := m.day.mean()
	return m.AtOnce > 0 && known
}

// meanOfDay is what a mild limit goes by beside the level.
func (s *State) meanOfDay(b breach) string {
	mean, _ := b.day.mean()
	return " The mean of the last 24 hours is " + s.value(b, mean)
}

// sayDay says the mean of the day where a limit goes by it, when what the level has
// left already counts as over, and how often it has come.
func (s *State) sayDay(b breach, u farm.Urgency, at time.Time) string {
	came := b.hysteresis[u].Came
	switch {
	case !b.ofNow(at):
		return ""
	case u == farm.Now && b.AtOnce > 0 && came.Times > 1:
		return fmt.Sprintf(" It has been past %s, where there is harm, %s: that counts as over once a day and a night have passed without.",
			s.say(b, b.edge.harm()), s.timesSince(came.Times, came.First, at))
	case u == farm.Now || !b.byDay():
		return ""
	}
	text := s.meanOfDay(b)
	switch {
	case came.Times > 1:
		text += fmt.Sprintf(". It has come %s: it counts as over once it has stayed away for three days", s.timesSince(came.Times, came.First, at))
	case b.edge.farthest(b.Value) == farm.Calm:
		text += fmt.Sprintf("; it counts as over once that has come to %s, or the level has stayed there for 12 hours", s.say(b, b.edge.backFrom(b.margin)))
	}
	return text + "."
}

// timesSince says how often something has come since a day: "twice today", "9 times
// since Thursday".
func (s *State) timesSince(n int, since, at time.Time) string {
	times, day, today := fmt.Sprintf("%d times", n), s.farm.Dates().Day(since, at), s.farm.Dates().Day(at, at)
	if n == 2 {
		times = "twice"
	}
	if day == today {
		return times + " " + today
	}
	return times + " since " + day
}

// sayLost names a probe that was past a limit when it was last believed, since a
// condition was raised, and has nothing to say now: what ends is what is known.
func (s *State) sayLost(b breach) string {
	for _, p := range b.probes {
		if p.fresh(s.Now) || p.GoodAt.Before(b.rec.Since) || b.edge.farthest(p.Good.Value) == farm.Calm {
			continue
		}
		return fmt.Sprintf(" But %s said %s %s and has not been heard or believed since: look there.",
			p.spec.ID, s.value(b, p.Good.Value), s.farm.Dates().Time(p.Good.At, s.Now))
	}
	return ""
}

// levelOf says the level that a condition is about, and both ends where several
// probes speak.
func (s *State) levelOf(b breach) string {
	said := s.value(b, b.Value)
	if ends := s.ends(b); ends != "" {
		said += " (" + ends + ")"
	}
	return said
}

// ends names both ends of a level with their probes, the worse one first: "near
// 37.8 °C, far 26 °C". It is "" where one probe speaks.
func (s *State) ends(b breach) string {
	if !b.several() {
		return ""
	}
	worse, better := b.worst(b.edge.side), b.worst(-b.edge.side)
	most, least := s.value(b, worse.Value), s.value(b, better.Value)
	if most == least {
		return ""
	}
	return fmt.Sprintf("%s %s, %s %s", worse.Probe, most, better.Probe, least)
}

// sayMissed names the probe that nothing has been heard of since it was past the
// limit of an urgency; "" when there is none.
func (s *State) sayMissed(b breach, u farm.Urgency) string {
	for _, p := range b.probes {
		if p.missed(s.Now) && b.edge.past(u, b.Steady+p.Apart) {
			return fmt.Sprintf("where %s sits: %s when it was last heard, %s (elsewhere %s)", p.spec.ID,
				s.value(b, p.Good.Value), s.farm.Dates().Time(p.Good.At, s.Now), s.value(b, b.Value))
		}
	}
	return ""
}

// suffered is the level that decides who suffers: the middle, or the worst where
// that is past the limit of harm.
func (s *State) suffered(b breach) float64 {
	if worst := b.worstMissed(b.probes, b.edge.side, s.Now); b.edge.past(farm.Now, worst) {
		return worst
	}
	return b.Value
}

// value writes a level so that it never looks the same as a limit it is past.
func (s *State) value(b breach, v float64) string {
	limits := slices.Concat(b.below.limit[farm.Soon:], b.above.limit[farm.Soon:])
	if b.zone.spec.Aim == farm.Sifting && b.measured == b.zone.moist { // its window opens and closes there
		limits = append(limits, b.bands.Thrive.Low, b.bands.Thrive.High)
	}
	return s.farm.Units.Beside(b.Name, v, limits...)
}

// say writes a value of what a condition is about.
func (s *State) say(b breach, v float64) string { return s.farm.Units.Say(b.Name, v) }

// bandWords speak of a level past its limits: where it stands, who suffers and who
// does not mind, and what to do.
func (s *State) bandWords(b breach, at time.Time) saying {
	if b.rec.what.condition == farm.PastLimit {
		return s.limitWords(b, at)
	}
	z, c, u := b.zone, b.rec.what.condition, b.rec.Urgency
	say := s.whereItStands(b, s.place(z.who), b.rec.row.Is, u, at)
	byMass := z.byMass(b.Name)
	if byMass {
		say.Text += " " + s.whoSuffers(b)
	}
	if !byMass || b.Name == farm.Moisture && len(z.bin.worms) == 1 {
		say.Text += " " + s.pastLimit(b)
	}
	say.Text += s.sayDay(b, u, at)
	if say.Forecast = s.nextLimit(b, u, at); say.Forecast != nil {
		say.Text += fmt.Sprintf(" It is expected to reach %s %s.", s.say(b, say.Forecast.Limit), s.farm.Dates().About(say.Forecast.Crosses, at))
	}
	switch c {
	case farm.TooDry:
		say.Advice = s.dryAdvice(z, at)
		if z.spec.Aim != farm.Living {
			say.Cautions = []string{dustCaution}
		}
	case farm.TooWet:
		say.Advice = s.lessBedded(z, s.bedAdvice(z, at), at)
	case farm.TooHot:
		say.Advice = s.hotAdvice(z, at)
	case farm.TooCold:
		say.Advice, say.Cautions = &farm.Advice{Do: coldDo(z.spec.Aim)}, []string{heaterCaution}
	}
	return say
}

// whereItStands is the first sentence of a band condition: how bad it is now,
// or was when the zone was last heard, or that it is nearly over. It is about a
// zone that is too hot, or about its CO2, which is above its limit.
func (s *State) whereItStands(b breach, subject, is string, u farm.Urgency, at time.Time) saying {
	level, worst, missed := s.levelOf(b), b.worst(b.edge.side).Value, s.sayMissed(b, u)
	inOnePlace := u == farm.Now && b.edge.past(u, worst) && !b.edge.past(u, b.Value)
	limit := b.rec.what.quantity != ""
	var brief string
	switch {
	case !b.ofNow(at):
		return saying{Text: fmt.Sprintf("%s was %s when last heard, %s ago: %s.", subject, is, farm.SayLong(at.Sub(b.At)), level)}
	case !limit && !b.edge.past(u, worst) && missed != "":
		brief = fmt.Sprintf("%s %s", is, missed)
	case b.found(b.edge) == farm.Calm && b.byDay():
		if b.edge.farthest(b.Value) == farm.Calm {
			return saying{Text: fmt.Sprintf("%s was %s, and is at %s now.", subject, is, level)}
		}
		brief = fmt.Sprintf("%s at %s", is, level)
	case b.found(b.edge) == farm.Calm && !(limit && missed != ""):
		return saying{Text: fmt.Sprintf("%s is only just no longer %s, at %s; it counts as over from %s on.", subject, is, level, s.say(b, b.edge.backFrom(b.margin)))}
	case limit:
		brief = fmt.Sprintf("%s, %s", level, is)
		return saying{Brief: b.Noun + " " + brief, Text: subject + " is " + brief + "."}
	case inOnePlace && b.High.Value-b.Low.Value > b.margin:
		brief = fmt.Sprintf("%s in one place: %s", is, s.ends(b))
	case inOnePlace:
		brief = fmt.Sprintf("%s at %s", is, s.value(b, worst))
	default:
		brief = fmt.Sprintf("%s at %s", is, level)
	}
	return saying{Brief: brief, Text: subject + " is " + brief + "."}
}

// byMass tells whether a zone is judged by what its worms bear, not by bands of
// its own or its aim's.
func (z *zone) byMass(q farm.Quantity) bool {
	return z.spec.Aim == farm.Living && len(z.bin.worms) > 0 && z.spec.Bands[q].IsZero()
}

// whoSuffers sorts the species of a zone by how they do: who suffers first, who
// does not mind last; of several, each with its part of the worms.
func (s *State) whoSuffers(b breach) string {
	words, parts := map[farm.Wellbeing][]string{}, map[farm.Wellbeing]float64{}
	for _, w := range b.zone.bin.worms {
		how := husbandry.Word(w.Species, b.Name, s.suffered(b))
		words[how] = append(words[how], w.Name)
		parts[how] += w.Part
	}
	danger := len(words[farm.InDanger]) > 0
	var said []string
	for _, how := range farm.Wellbeings {
		names := words[how]
		if len(names) == 0 {
			continue
		}
		feels := " are "
		if how == farm.Parched || how == farm.Soaked {
			feels = " have it "
		}
		part := farm.SayPart(farm.SayList(names), parts[how]) + feels + string(how)
		if danger && how != farm.InDanger && how != farm.Thriving {
			part += ", but not in danger"
		}
		said = append(said, part)
	}
	return farm.Capital(strings.Join(said, "; ")) + "."
}

// pastLimit says which of a zone's limits has been passed.
func (s *State) pastLimit(b breach) string {
	if b.edge.past(farm.Now, s.suffered(b)) {
		return fmt.Sprintf("Past %s there is harm.", s.say(b, b.edge.harm()))
	}
	return fmt.Sprintf("The limit for doing well is %s.", s.say(b, b.edge.mild()))
}

// hotAdvice is what to do about warmth; what was turned of late is not to be
// turned again so soon.
func (s *State) hotAdvice(z *zone, at time.Time) *farm.Advice {
	if z.spec.Aim != farm.Living {
		return &farm.Advice{Do: "Move it somewhere cooler or shade it."}
	}
	if until := z.turned(at); until != nil {
		return &farm.Advice{Wait: until, Do: fmt.Sprintf(
			"Turned %s. Shade it or move it somewhere cooler if it stays hot, hold back feed until it has cooled, and look again %s at the latest.",
			s.whenDone(z.Husbandry.Turned, at), s.onDay(*until, at))}
	}
	return &farm.Advice{Do: "Open it and loosen the warm part, shade it or move it somewhere cooler, and hold back feed until it has cooled."}
}

func coldDo(aim farm.Aim) string {
	if aim == farm.Living {
		return "Cover it or bring it somewhere warmer, and feed little until it has warmed up."
	}
	return "Bring it somewhere frost-free or wrap it."
}

// heaterCaution applies where the keeper may reach for a heater.
const heaterCaution = "A mains heater by a wet bin needs residual-current protection (RCD/GFCI), weatherproof listed equipment and a thermostat with its own cut-out; local codes and a licensed electrician decide. This program must never be the only safety device."

// limitWords are the words while a level is past a limit that its zone was given.
func (s *State) limitWords(b breach, at time.Time) saying {
	side, remedy := "below", b.QuantityRow.Below
	if b.edge.side == farm.Above {
		side, remedy = "above", b.QuantityRow.Above
	}
	is := fmt.Sprintf("%s its limit of %s", side, s.say(b, b.edge.mild()))
	say := s.whereItStands(b, s.place(b.zone.who)+": its "+b.Noun, is, farm.Today, at)
	say.Advice, say.Cautions = &farm.Advice{Do: cmp.Or(remedy.Do, b.rec.row.Do)}, remedy.Cautions
	return say
}
