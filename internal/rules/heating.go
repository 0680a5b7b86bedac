package rules

import (
	"fmt"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/trend"
)

const (
	// heatingNow is how near a crossing is for heating to be told at once. A choice.
	heatingNow = 3 * time.Hour
	// heatingCalm is how many refits in a row must find nothing for heating to
	// ease: one refit in doubt is no end.
	heatingCalm = 3
	// slowPace is how long after the one before a reading has to come for the curve
	// to be drawn anew at once: the next refit may be most of an hour away.
	slowPace = 40 * time.Minute
)

// heatMemory is the last refit of a zone's temperature.
type heatMemory struct {
	Fit   trend.Heating
	Probe string         // whose curve that is
	Most  trend.Crossing // of the limit past which most worms are slowed, while it lies ahead
	At    time.Time
	Calm  int // refits in a row that found nothing
}

// refitHeat draws the temperature curves anew, one for each believed probe: a
// heap heats in one place first. Worms alone heat: castings that are kept
// follow their room.
func (s *State) refitHeat(z *zone, m time.Time) {
	if z.spec.Aim != farm.Living || !anyFresh(z.temp.probes, m) {
		return
	}
	h := &z.Husbandry.Heat
	at := z.temp.clock(m)
	fit, probe := z.firstToCross(m, s.farm.Location)
	if p := z.heatProbe(); p != nil && p.missed(m) && z.record(farm.Heating).raised() && !fit.Self {
		return // the one that knows is silent: that is no end
	}
	h.Fit, h.Probe = fit, probe
	h.Most, h.At = z.mostSlowed(m, s.farm.Location), at
	if z.foreseesHeat() || z.record(farm.Heating).raised() && z.stillClimbs() {
		h.Calm = 0
	} else {
		h.Calm++
	}
	s.judgeHeating(z, at)
}

// refitSlow draws the temperature curves anew when a slow probe has spoken. It
// does not count as another look that found nothing.
func (s *State) refitSlow(z *zone) {
	calm := z.Husbandry.Heat.Calm
	s.refitHeat(z, s.Now)
	z.Husbandry.Heat.Calm = min(calm, z.Husbandry.Heat.Calm)
}

// firstToCross gives the fit of the probe that is foreseen to cross the
// survive limit first, and the probe's name.
func (z *zone) firstToCross(m time.Time, local *time.Location) (first trend.Heating, probeID string) {
	for _, p := range z.temp.probes {
		if !p.fresh(m) {
			continue
		}
		fit := trend.HeatingFit(&p.Track, z.air(m), z.temp.above.harm(), z.spec.LookAhead.Heating, p.clock(m).In(local))
		if probeID == "" || crossesBefore(fit, first) {
			first, probeID = fit, p.spec.ID
		}
	}
	return first, probeID
}

// mostSlowed foresees when the middle of the probes passes the limit of most
// worms: when half of them do. It is asked for only while fewer are slowed.
func (z *zone) mostSlowed(m time.Time, local *time.Location) trend.Crossing {
	e := z.temp.above.edge
	limit, ok := e.after(farm.Soon)
	if !ok || limit == e.harm() || z.record(farm.TooHot).Urgency != farm.Soon {
		return trend.Crossing{Quiet: true}
	}
	var all []trend.Crossing
	for _, p := range z.temp.probes {
		if p.fresh(m) {
			all = append(all, trend.HeatingFit(&p.Track, z.air(m), limit, z.spec.LookAhead.Heating, p.clock(m).In(local)).Crossing)
		}
	}
	slices.SortStableFunc(all, func(a, b trend.Crossing) int { return compareTimes(a.Crosses, b.Crosses) })
	return all[len(all)/2]
}

// compareTimes orders times, never last.
func compareTimes(a, b time.Time) int {
	if a.IsZero() != b.IsZero() {
		return b.Compare(a)
	}
	return a.Compare(b)
}

// crossesBefore tells whether fit a is the more pressing one: its own heat
// before the room's, then the earlier crossing, then the steeper climb.
func crossesBefore(a, b trend.Heating) bool {
	if a.Self != b.Self {
		return a.Self
	}
	if order := compareTimes(a.Crossing.Crosses, b.Crossing.Crosses); order != 0 {
		return order < 0
	}
	return a.PerHour > b.PerHour
}

// heatAt is the level of the probe that the last refit is about, °C; the
// zone's own where that probe holds none.
func (z *zone) heatAt() float64 {
	if p := z.heatProbe(); p != nil {
		if v, ok := p.Level.Median(); ok {
			return v
		}
	}
	return z.temp.Value
}

// heatProbe is the probe that the last refit is about; nil where there is none.
func (z *zone) heatProbe() *probe {
	return first(z.temp.probes, func(p *probe) bool { return p.spec.ID == z.Husbandry.Heat.Probe })
}

// air is the track of the room, where a probe in it speaks.
func (z *zone) air(m time.Time) *trend.Track {
	if a := z.bin.ambient; a != nil && a.fresh(m) {
		return &a.Track
	}
	return nil
}

// foreseesHeat tells whether the last refit found the bin's own heat to be on
// its way past the survive limit within what the zone looks ahead.
func (z *zone) foreseesHeat() bool {
	h := z.Husbandry.Heat
	if h.Fit.Crossing.Past {
		return h.Fit.Self || z.record(farm.Heating).raised()
	}
	return h.Fit.Self && h.Fit.Crossing.Within(h.At, z.spec.LookAhead.Heating)
}

// stillClimbs tells whether the bin goes on warming, though the last refit saw
// no crossing: a fit may falter halfway up a climb.
func (z *zone) stillClimbs() bool {
	h, near := z.Husbandry.Heat, 8.0 // K under the limit
	return h.Fit.PerHour > 0.1 && z.heatAt() > z.temp.above.harm()-near
}

// judgeHeating brings heating to the urgency of the last refit, seen from now.
func (s *State) judgeHeating(z *zone, now time.Time) {
	r, h := z.record(farm.Heating), &z.Husbandry.Heat
	switch {
	case z.foreseesHeat():
		u := farm.Today
		if c := h.Fit.Crossing; c.Past || c.Within(now, heatingNow) || r.Urgency == farm.Now && c.Within(now, 2*heatingNow) {
			u = farm.Now
		}
		s.emit(r, now, u)
	case r.raised() && h.Calm >= heatingCalm:
		s.emit(r, now, farm.Calm)
	}
}

// approaches lets a raised heating become urgent between two refits.
func (s *State) approaches(z *zone, m time.Time) {
	if r := z.record(farm.Heating); r.Urgency == farm.Today && anyFresh(z.temp.probes, m) {
		if now := z.temp.clock(m); z.Husbandry.Heat.Fit.Crossing.Within(now, heatingNow) {
			s.judgeHeating(z, now)
		}
	}
}

func (s *State) sayHeating(z *zone, now time.Time) saying {
	fit, u := z.Husbandry.Heat.Fit, s.farm.Units
	limit := u.Temperature(z.temp.above.harm())
	level := u.Temperature(z.heatAt())
	if id := z.Husbandry.Heat.Probe; len(z.temp.probes) > 1 && id != "" {
		level = id + " says " + level
	}
	brief, text := s.foreseenNow(z.record(farm.Heating).breach(), level, now)
	f, foreseen := fit.Crossing.Forecast()
	past := fit.Crossing.Past || z.heatAt() > z.temp.above.harm()
	foreseen = foreseen && !past
	switch {
	case past:
		text += fmt.Sprintf(", past %s already.", limit)
	case foreseen && !f.Crosses.After(now):
		text += fmt.Sprintf(", %s at any moment.", limit)
	case foreseen:
		text += fmt.Sprintf(", %s by %s (%s).", limit, s.farm.Dates().Time(f.Crosses, now), s.between(f, now))
	default:
		text += "."
	}
	if fit.ByRoom {
		text += fmt.Sprintf(" That is %s more than the room explains.", s.degrees(fit.ExcessK))
	} else {
		text += " It does not do that on other days."
	}
	say := saying{
		Brief: brief, Text: text,
		Advice: &farm.Advice{Do: "Open it, take the feed off the warm part or spread it thin, loosen so that heat gets out, and feed no more for now."},
	}
	if until := z.turned(now); until != nil {
		say.Advice.Wait = until
		say.Advice.Do = fmt.Sprintf("Turned %s. Look again in a few hours: if it still climbs, take the feed off the warm part and leave it open; feed no more for now.",
			s.whenDone(z.Husbandry.Turned, now))
	}
	if foreseen && f.Crosses.After(now) {
		say.Forecast = &f
	}
	return say
}

// between says the 80 % interval of a forecast.
func (s *State) between(f farm.Forecast, now time.Time) string {
	dates := s.farm.Dates()
	from, to := dates.Time(f.Earliest, now), dates.Time(f.Latest, now)
	switch {
	case f.Latest.IsZero():
		return fmt.Sprintf("not before %s, perhaps never", from)
	case from == to:
		return from
	}
	return fmt.Sprintf("between %s and %s", from, to)
}

// degrees writes a difference of temperatures.
func (s *State) degrees(k float64) string {
	if s.farm.Units == farm.US {
		return fmt.Sprintf("%.0f °F", k*9/5)
	}
	return fmt.Sprintf("%.0f °C", k)
}

func (s *State) sayCooled(z *zone, now time.Time) string {
	r := z.record(farm.Heating)
	lost := s.sayLost(r.breach())
	no := "no longer"
	if lost != "" {
		no = "no longer known to be"
	}
	return fmt.Sprintf("%s is %s heating: %s now, after %s.%s",
		s.place(z.who), no, s.farm.Units.Temperature(z.temp.Value), farm.SayLong(now.Sub(r.Since)), lost)
}
