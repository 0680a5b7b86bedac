package acceptancetest

import (
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/rules"
	"binwatchd/internal/scenariotest"
)

// A HabitScore is how well the days of some keepers' waterings were foreseen, and what was
// left to the rounds.
type HabitScore struct {
	Waterings int // of the second half of each case
	Foreseen  int // of those: a rhythm was shown on the day after the one before
	Held      int // and it came within the interval

	Raised  int // breaches of thrive in the second half
	Rounds  int // of those left to the rounds
	Harmful int // of those: harm had come before the rounds' time was over
	Hidden  int // breaches of survive that were left to the rounds: none may be
}

const survivesAt = 60 // % below which red worms come to harm: the species table

// LiveBy lets keepers live and scores them.
func LiveBy(cases []scenariotest.Habit) (s HabitScore) {
	for _, c := range cases {
		bin := c.Begin()
		f := bin.Farm(husbandry.Species(), husbandry.Feeds())
		state, half := rules.New(&f), c.Start.Add(time.Duration(c.Days)*12*time.Hour)
		var foreseen *farm.Rhythm
		var until time.Time
		for e := range bin.Events() {
			if e.Kind == farm.EventJot {
				if bin.At.After(half) {
					s.watering(e.Jot.At, foreseen)
				}
				foreseen = nil
				until = time.Time{}
			}
			for _, ch := range state.Step(e) {
				until = s.change(ch, half, until)
			}
			if bin.Moisture() < survivesAt && bin.At.Before(until) {
				s.Harmful, until = s.Harmful+1, time.Time{}
			}
			if bin.At.Hour() == 10 && foreseen == nil {
				for _, r := range state.Look(bin.At).Bins[0].Zones[0].Rhythms {
					if r.What == farm.Watered && bin.At.Sub(r.Last) >= 24*time.Hour {
						foreseen = &r
					}
				}
			}
		}
	}
	return s
}

// watering scores the day of one: a keeper's day is a day.
func (s *HabitScore) watering(at time.Time, foreseen *farm.Rhythm) {
	const grain = 12 * time.Hour
	s.Waterings++
	if foreseen == nil {
		return
	}
	s.Foreseen++
	if !at.Before(foreseen.Early.Add(-grain)) && !at.After(foreseen.Late.Add(grain)) {
		s.Held++
	}
}

func (s *HabitScore) change(ch farm.Change, half, until time.Time) time.Time {
	switch {
	case ch.Condition != farm.TooDry || ch.Change == farm.Eased || ch.Change == farm.Lightened:
		return until
	case ch.Urgency == farm.Now && ch.RoundsUntil != nil:
		s.Hidden++
	case ch.Urgency < farm.Now && ch.At.After(half):
		s.Raised++
		if ch.RoundsUntil != nil {
			s.Rounds++
			return *ch.RoundsUntil
		}
	}
	return until
}
