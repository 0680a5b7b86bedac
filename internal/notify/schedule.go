package notify

import (
	"slices"
	"time"
)

const day = 24 * time.Hour

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
	for n := 0; ; n++ {
		at := onWall(t, n, s.At)
		if at.After(t) && s.on(t, n) {
			return at
		}
	}
}

// Last gives the latest moment of the schedule that is not after t.
func (s Schedule) Last(t time.Time, loc *time.Location) time.Time {
	t = t.In(loc)
	for n := 0; ; n-- {
		at := onWall(t, n, s.At)
		if !at.After(t) && s.on(t, n) {
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

// A Window is a daily stretch of the clock in the farm's time zone, as quiet
// hours are. From after To runs over midnight; both equal is no time at all.
type Window struct {
	From, To time.Duration // since midnight by the clock on the wall
}

// Ends tells whether t lies in the window, and when the window ends. It goes
// by the clock on the wall, so a night with a change of clocks is an hour
// shorter or longer.
func (w Window) Ends(t time.Time, loc *time.Location) (end time.Time, inside bool) {
	t = t.In(loc)
	clock := time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute +
		time.Duration(t.Second())*time.Second + time.Duration(t.Nanosecond())
	switch {
	case w.From <= w.To && (clock < w.From || clock >= w.To):
		return time.Time{}, false
	case w.From > w.To && clock >= w.To && clock < w.From:
		return time.Time{}, false
	case w.From > w.To && clock >= w.From:
		return onWall(t, 1, w.To), true
	}
	return onWall(t, 0, w.To), true
}

// onWall is the moment at which the clock on the wall shows clock, days after
// the day of t: the first such moment where a change of clocks brings it twice,
// and as long after midnight as it would have been where a change leaves it
// out.
func onWall(t time.Time, days int, clock time.Duration) time.Time {
	y, m, d := t.Date()
	wall := time.Date(y, m, d+days, 0, 0, 0, 0, time.UTC).Add(clock)
	before := offset(wall.Add(-day), t.Location())
	for _, off := range []time.Duration{before, offset(wall.Add(day), t.Location())} {
		at := wall.Add(-off).In(t.Location())
		if offset(at, t.Location()) == off {
			return at
		}
	}
	return wall.Add(-before).In(t.Location())
}

// offset is how far the clocks of a place are ahead of UTC.
func offset(t time.Time, loc *time.Location) time.Duration {
	_, seconds := t.In(loc).Zone()
	return time.Duration(seconds) * time.Second
}
