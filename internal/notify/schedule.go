package notify

import (
	"slices"
	"time"
)

// A Schedule is a time of the clock on the wall on some days of the week.
type Schedule struct {
	Days []time.Weekday // nil: every day
	At   time.Duration  // since midnight
}

// Next gives the first moment of the schedule after t, by the clock on the wall
// of loc. Each day has it exactly once, also a day on which the clocks change:
// a time that is left out comes when the clocks have changed, one that comes
// twice counts the first time.
func (s Schedule) Next(t time.Time, loc *time.Location) time.Time {
	t = t.In(loc)
	for day := 0; ; day++ {
		at := onWall(t, day, s.At)
		if at.After(t) && s.on(t, day) {
			return at
		}
	}
}

// Last gives the latest moment of the schedule that is not after t.
func (s Schedule) Last(t time.Time, loc *time.Location) time.Time {
	t = t.In(loc)
	for day := 0; ; day-- {
		at := onWall(t, day, s.At)
		if !at.After(t) && s.on(t, day) {
			return at
		}
	}
}

// on tells whether the day that lies days from t is one of the schedule's. The
// weekday is that of the date asked for, for a clock change at midnight may
// move the moment itself into the next day.
func (s Schedule) on(t time.Time, days int) bool {
	y, m, d := t.Date()
	return len(s.Days) == 0 || slices.Contains(s.Days, time.Date(y, m, d+days, 12, 0, 0, 0, time.UTC).Weekday())
}
