package config

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// A Window is a stretch of each day, from one minute after midnight to
// another, over midnight when To comes first. The zero Window is none.
type Window struct{ From, To int }

// IsZero tells whether there is no window.
func (w Window) IsZero() bool { return w == Window{} }

// String writes the window as it is configured: 22:00-07:00.
func (w Window) String() string { return clock(w.From) + "-" + clock(w.To) }

func clock(minutes int) string { return fmt.Sprintf("%02d:%02d", minutes/60, minutes%60) }

// UnmarshalText reads 22:00-07:00.
func (w *Window) UnmarshalText(text []byte) error {
	s := string(text)
	from, to, found := strings.Cut(strings.NewReplacer("–", "-", "..", "-").Replace(s), "-")
	a, okA := parseClock(from)
	b, okB := parseClock(to)
	if !found || !okA || !okB || a == b {
		return fmt.Errorf(`%s is not a stretch of the day, such as "22:00-07:00"`, quoted(s))
	}
	*w = Window{a, b}
	return nil
}

// parseClock reads 8:00 or 08:00 as minutes after midnight.
func parseClock(s string) (minutes int, ok bool) {
	h, m, found := strings.Cut(strings.TrimSpace(s), ":")
	hour, errH := strconv.ParseUint(h, 10, 8)
	minute, errM := strconv.ParseUint(m, 10, 8)
	if !found || errH != nil || errM != nil || len(m) != 2 || hour > 23 || minute > 59 {
		return 0, false
	}
	return int(hour*60 + minute), true
}

// A Schedule is a time of day on some days of the week, Sunday first.
type Schedule struct {
	Days         []time.Weekday
	Hour, Minute int
}

// String writes the schedule as it is configured: Sat 08:00.
func (s Schedule) String() string {
	at := clock(s.Hour*60 + s.Minute)
	if len(s.Days) == 7 {
		return "daily " + at
	}
	var b strings.Builder
	for _, d := range s.Days {
		b.WriteString(d.String()[:3] + " ")
	}
	return b.String() + at
}

// UnmarshalText reads Sat 08:00, or Wed Sat 08:00, or daily 08:00.
func (s *Schedule) UnmarshalText(text []byte) error {
	wrong := fmt.Errorf(`%s is not a time of the week, such as "Sat 08:00", "Wed Sat 08:00" or "daily 08:00"`, quoted(string(text)))
	words := strings.FieldsFunc(string(text), func(c rune) bool { return c == ' ' || c == ',' })
	if len(words) < 2 {
		return wrong
	}
	last := len(words) - 1
	at, ok := parseClock(words[last])
	var on [7]bool
	for _, w := range words[:last] {
		ok = markDay(w, &on) && ok
	}
	if !ok {
		return wrong
	}
	*s = Schedule{Hour: at / 60, Minute: at % 60}
	for d, chosen := range on {
		if chosen {
			s.Days = append(s.Days, time.Weekday(d))
		}
	}
	return nil
}

// markDay marks the day a word names, by its first three letters or in full.
func markDay(word string, on *[7]bool) bool {
	if strings.EqualFold(word, "daily") {
		*on = [7]bool{true, true, true, true, true, true, true}
		return true
	}
	for d := time.Sunday; d <= time.Saturday; d++ {
		if strings.EqualFold(word, d.String()) || strings.EqualFold(word, d.String()[:3]) {
			on[d] = true
			return true
		}
	}
	return false
}

// A Date is a day of the calendar; year is 0 where the file gives none, which
// means the next such day.
type Date struct {
	year  int
	month time.Month
	day   int
}

// dateForms are the ways to write a day, with and without its year.
var dateForms = []struct {
	layout  string
	hasYear bool
}{
	{"2006-01-02", true},
	{"2 Jan 2006", true}, {"2 January 2006", true}, {"Jan 2 2006", true}, {"January 2 2006", true},
	{"2 Jan", false}, {"2 January", false}, {"Jan 2", false}, {"January 2", false},
}

func parseDate(s string) (Date, error) {
	plain := strings.Join(strings.Fields(strings.ReplaceAll(s, ",", " ")), " ")
	for _, form := range dateForms {
		layout, value := form.layout, plain
		if !form.hasYear { // a leap year, so that 29 Feb can be read
			layout, value = layout+" 2006", value+" 2000"
		}
		t, err := time.Parse(layout, value)
		if err != nil {
			continue
		}
		d := Date{t.Year(), t.Month(), t.Day()}
		if !form.hasYear {
			d.year = 0
		}
		return d, nil
	}
	return Date{}, fmt.Errorf("%s is not a day, such as 10 Apr or 2027-04-10", quoted(s))
}

// String writes a day whose year is known.
func (d Date) String() string {
	return fmt.Sprintf("%04d-%02d-%02d", d.year, d.month, d.day)
}

// from gives the midnight that begins the day, and where no year is given the
// first such day that is not over at now.
func (d Date) from(now time.Time, loc *time.Location) time.Time {
	if d.year != 0 {
		return time.Date(d.year, d.month, d.day, 0, 0, 0, 0, loc)
	}
	now = now.In(loc)
	today := time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, loc)
	t := today
	for year := now.Year(); year <= now.Year()+8; year++ { // 29 Feb waits up to eight years for a leap year
		t = time.Date(year, d.month, d.day, 0, 0, 0, 0, loc)
		if t.Day() == d.day && !t.Before(today) {
			break
		}
	}
	return t
}
