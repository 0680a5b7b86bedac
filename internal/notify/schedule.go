package notify

import (
	"errors"
	"fmt"
	"slices"
	"strings"
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
	return s.seek(t.In(loc), 1, t.Before)
}

// Last gives the latest moment of the schedule that is not after t.
func (s Schedule) Last(t time.Time, loc *time.Location) time.Time {
	return s.seek(t.In(loc), -1, func(at time.Time) bool { return !at.After(t) })
}

// seek gives the first moment of the schedule that is wanted, day by day from t.
func (s Schedule) seek(t time.Time, step int, wanted func(time.Time) bool) time.Time {
	for days := 0; ; days += step {
		if at := onWall(t, days, s.At); wanted(at) && s.on(t, days) {
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
	h, m, sec := t.Clock()
	clock := time.Duration(h*3600+m*60+sec)*time.Second + time.Duration(t.Nanosecond())
	begun, before := w.From <= clock, clock < w.To
	if over := w.From > w.To; over && !begun && !before || !over && !(begun && before) {
		return time.Time{}, false
	}
	if before {
		return onWall(t, 0, w.To), true
	}
	return onWall(t, 1, w.To), true
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

// String writes the schedule as it is configured: Sat 08:00.
func (s Schedule) String() string {
	if len(s.Days) == 0 || len(s.Days) == 7 {
		return "daily " + clock(s.At)
	}
	var b strings.Builder
	for _, d := range s.Days {
		b.WriteString(d.String()[:3] + " ")
	}
	return b.String() + clock(s.At)
}

// UnmarshalText reads Sat 08:00, or Wed Sat 08:00, or daily 08:00.
func (s *Schedule) UnmarshalText(text []byte) error {
	wrong := errors.New(`is not a time of the week, such as "Sat 08:00", "Wed Sat 08:00" or "daily 08:00"`)
	words := strings.FieldsFunc(string(text), func(c rune) bool { return c == ' ' || c == ',' })
	if len(words) < 2 {
		return wrong
	}
	last := len(words) - 1
	at, ok := parseClock(words[last])
	var days []time.Weekday
	for _, word := range words[:last] {
		named := daysOf(word)
		ok = ok && named != nil
		days = append(days, named...)
	}
	if !ok {
		return wrong
	}
	slices.Sort(days)
	*s = Schedule{Days: slices.Compact(days), At: at}
	return nil
}

// daysOf are those that a word names, a day by its first three letters or in full;
// nil when it names none.
func daysOf(word string) (days []time.Weekday) {
	for d := time.Sunday; d <= time.Saturday; d++ {
		if name := d.String(); strings.EqualFold(word, "daily") || strings.EqualFold(word, name) || strings.EqualFold(word, name[:3]) {
			days = append(days, d)
		}
	}
	return days
}

// String writes the window as it is configured: 22:00-07:00.
func (w Window) String() string { return clock(w.From) + "-" + clock(w.To) }

func clock(since time.Duration) string {
	return fmt.Sprintf("%02d:%02d", int(since.Hours()), int(since.Minutes())%60)
}

// UnmarshalText reads 22:00-07:00.
func (w *Window) UnmarshalText(text []byte) error {
	from, to, found := strings.Cut(strings.NewReplacer("–", "-", "..", "-").Replace(string(text)), "-")
	a, okA := parseClock(from)
	b, okB := parseClock(to)
	if !found || !okA || !okB || a == b {
		return errors.New(`is not a stretch of the day, such as "22:00-07:00"`)
	}
	*w = Window{From: a, To: b}
	return nil
}

// parseClock reads 8:00 or 08:00 as the time since midnight.
func parseClock(s string) (since time.Duration, ok bool) {
	t, err := time.Parse("15:04", strings.TrimSpace(s))
	return time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute, err == nil
}
