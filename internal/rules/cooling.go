package rules

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/trend"
)

const (
	// roomNow is how near a crossing is for what the room brings to be told at once,
	// where it was not foreseen before. A choice, as heating has it.
	roomNow = 3 * time.Hour
	// roomLikely is the chance from which on it is told, and roomUnlikely that below which it
	// is over: over the whole of the next night, so that nights that come daily
	// are one episode. Chosen on simulated bins.
	roomLikely, roomUnlikely = 0.6, 0.15
	// roomCalm is how many refits in a row must find it unlikely for it to ease.
	// A choice.
	roomCalm = 3
	// roomLate reaches over the whole of the next night from any time of day.
	roomLate = 30 * time.Hour
)

// A room is a shed, cellar or yard whose bins share one air.
type room struct {
	spec    *farm.Room
	weather trend.Weather
}

// roomMemory is what the last refit found of what the room brings on one side.
type roomMemory struct {
	Soon     trend.Crossing // of the survive limit within what is looked ahead
	Late     trend.Crossing // within the night to come
	Extreme  float64        // °C that it is likely to come to
	LagHours float64
	ByAir    bool
	Foretold bool
	Probe    string // whose curve that is; "" where nothing is said
	At       time.Time
	Calm     int // refits in a row that found it unlikely
}

// A roomSide is one side of what a room may bring, with its condition, and those
// that say more once they are raised.
type roomSide struct {
	condition, past farm.Condition
	above           bool
}

var roomSides = [...]roomSide{
	{condition: farm.Cooling, past: farm.TooCold},
	{condition: farm.Warming, past: farm.TooHot, above: true},
}

// of gives what is remembered of a side.
func (side roomSide) of(z *zone) (*roomMemory, time.Duration, float64) {
	if side.above {
		return &z.Husbandry.Warm, z.spec.LookAhead.Warming, z.temp.above.harm()
	}
	return &z.Husbandry.Cool, z.spec.LookAhead.Cooling, z.temp.below.harm()
}

// watched tells whether a side can be raised, or has to be eased.
func (side roomSide) watched(z *zone) bool {
	_, soon, _ := side.of(z)
	return side.condition.Arises(z.spec.Aim) && soon > 0 || z.record(side.condition).raised()
}

// foreseen is the forecast of a side that is likely enough to be spoken of.
func (side roomSide) foreseen(z *zone, now time.Time) (f farm.Forecast, ok bool) {
	mem, _, limit := side.of(z)
	c := mem.Soon
	if c.Chance < roomLikely {
		c = mem.Late
	}
	f, ok = ahead(c, now)
	f.Limit = limit
	return f, ok && c.Chance >= 0.5
}

// foretold takes in the weather of the hours to come.
func (s *State) foretold(w *farm.Weather) {
	for _, r := range s.rooms {
		if w != nil && r.spec.Ahead != "" && r.spec.Ahead == w.Topic {
			r.weather.Foretell(s.Now, w.Hours)
		}
	}
}

// refitRoom foresees where the room takes a zone, by each believed probe.
func (s *State) refitRoom(z *zone, m time.Time) {
	if !slices.ContainsFunc(roomSides[:], func(side roomSide) bool { return side.watched(z) }) || !anyFresh(z.temp.probes, m) {
		return
	}
	var weather *trend.Weather
	if r := z.bin.room; r != nil {
		weather = &r.weather
	}
	at := z.temp.clock(m)
	for _, side := range roomSides {
		mem, _, _ := side.of(z)
		mem.At, mem.Probe = at, ""
	}
	for _, p := range z.temp.probes {
		level, ok := p.Level.Median()
		if !ok || !p.fresh(m) {
			continue
		}
		course, ok := trend.Follow(&p.Track, z.air(m), weather, level, p.clock(m))
		if !ok {
			continue
		}
		for _, side := range roomSides {
			if !side.watched(z) {
				continue
			}
			mem, soon, limit := side.of(z)
			now, late := course.Crossing(limit, side.above, soon), course.Crossing(limit, side.above, roomLate)
			if mem.Probe == "" || now.Chance > mem.Soon.Chance || now.Chance == mem.Soon.Chance && late.Chance > mem.Late.Chance {
				mem.Probe, mem.Soon, mem.Late, mem.Extreme = p.spec.ID, now, late, course.Extreme(side.above)
				mem.LagHours, mem.ByAir, mem.Foretold = course.LagHours, course.ByAir, course.Foretold
			}
		}
	}
	for _, side := range roomSides {
		mem, _, _ := side.of(z)
		switch {
		case mem.Probe == "":
			continue
		case mem.Late.Past || mem.Late.Chance >= roomUnlikely:
			mem.Calm = 0
		default:
			mem.Calm++
		}
		s.judgeRoom(z, side, at)
	}
}

// judgeRoom raises what the room brings while there is time to act, and eases it when
// neither the night to come nor the level is past the limit. One that was told in
// time is not told again when it is near, and what is past the limit already is told as
// that.
func (s *State) judgeRoom(z *zone, side roomSide, now time.Time) {
	mem, _, _ := side.of(z)
	r, soon := z.record(side.condition), mem.Soon
	switch {
	case r.raised():
		if mem.Calm >= roomCalm {
			s.emit(r, now, farm.Calm)
		}
	case soon.Past || soon.Chance < roomLikely || s.roomSaidOtherwise(z, side):
	case soon.Within(now, roomNow):
		s.emit(r, now, farm.Now)
	default:
		s.emit(r, now, farm.Today)
	}
}

// roomSaidOtherwise tells whether another condition says the same or more: the bin
// heats by itself, or is past the limit.
func (s *State) roomSaidOtherwise(z *zone, side roomSide) bool {
	return z.record(side.past).Urgency == farm.Now || side.above && z.record(farm.Heating).raised()
}

// sayRoom has the words of what the room brings.
func (s *State) sayRoom(z *zone, side roomSide, now time.Time) saying {
	mem, _, limit := side.of(z)
	said, u, dates := s.farm.Units.Temperature(limit), s.farm.Units, s.farm.Dates()
	below, past := "below", z.temp.Low.Value < limit
	if side.above {
		below, past = "above", z.temp.High.Value > limit
	}
	f, foreseen := side.foreseen(z, now)
	do := strings.TrimSuffix(z.record(side.condition).row.Do, ".")
	say := saying{Advice: &farm.Advice{Do: do + " soon."}}
	switch {
	case past:
		say.Advice.Do = do + " now."
		say.Text = fmt.Sprintf("%s is %s %s already.", s.place(z.who), below, said)
	case foreseen:
		say.Forecast, say.Advice.Do = &f, do+" "+s.actBy(f, now)+"."
		say.Brief = fmt.Sprintf("%s %s by %s", below, said, dates.Time(f.Crosses, now))
		say.Text = fmt.Sprintf("%s will be %s (%s), and at worst about %s; it is %s now.",
			s.place(z.who), say.Brief, s.between(f, now), u.Temperature(mem.Extreme), s.roomLevel(z, mem))
	default:
		say.Text = fmt.Sprintf("%s may come to be %s %s; it is %s now.", s.place(z.who), below, said, s.roomLevel(z, mem))
	}
	if !past {
		say.Text += " " + s.sayFollows(z, mem)
	}
	return say
}

// actBy says by when something is to be done about a forecast: by day before it may
// come, and for what comes at night in the evening before.
func (s *State) actBy(f farm.Forecast, now time.Time) string {
	const evening, morning = 18, 8 // o'clock; a choice
	first := f.Earliest
	if first.IsZero() || first.Before(now) {
		first = f.Crosses
	}
	local := first.In(s.farm.Location)
	dusk := time.Date(local.Year(), local.Month(), local.Day(), evening, 0, 0, 0, local.Location())
	if local.Hour() < morning {
		dusk = dusk.AddDate(0, 0, -1)
	}
	switch {
	case first.Sub(now) < time.Hour:
		return "now"
	case dusk.After(now) && !dusk.After(first):
		return "before night"
	}
	return "by " + s.farm.Dates().Time(first, now)
}

// roomLevel is how warm it is where the room brings it past the limit first.
func (s *State) roomLevel(z *zone, mem *roomMemory) string {
	if p := s.byID[mem.Probe]; p != nil && len(z.temp.probes) > 1 {
		if v, ok := p.Level.Median(); ok {
			return s.farm.Units.Temperature(v) + " at " + p.spec.ID
		}
	}
	return s.farm.Units.Temperature(z.temp.Value)
}

// sayFollows says what a forecast stands on.
func (s *State) sayFollows(z *zone, mem *roomMemory) string {
	air := "its place"
	if z.bin.spec.Room != "" {
		air = z.bin.spec.Room
	}
	switch {
	case mem.Foretold && mem.ByAir:
		return fmt.Sprintf("It follows the air of %s by about %s; the weather foretold there is counted in.", air, hoursSaid(mem.LagHours))
	case mem.Foretold:
		return fmt.Sprintf("It follows the weather foretold for %s by about %s.", air, hoursSaid(mem.LagHours))
	case mem.ByAir:
		return fmt.Sprintf("It follows the air of its room by about %s, and that goes on as on other days.", hoursSaid(mem.LagHours))
	}
	return "That is by its own last days; no probe in the air says more."
}

// hoursSaid writes a lag: "an hour", "6 hours".
func hoursSaid(h float64) string {
	if h < 1.5 {
		return "an hour"
	}
	return fmt.Sprintf("%.0f hours", h)
}

// sayRoomOver says of what the room no longer brings how it stands.
func (s *State) sayRoomOver(z *zone, side roomSide) string {
	_, _, limit := side.of(z)
	way := "below"
	if side.above {
		way = "above"
	}
	return fmt.Sprintf("%s is no longer on its way %s %s: %s now.", s.place(z.who), way, s.farm.Units.Temperature(limit), s.farm.Units.Temperature(z.temp.Value))
}
