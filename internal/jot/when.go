package jot

import (
	"strconv"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
)

// A moment is when something was done.
type moment struct {
	given bool
	at    time.Time // zero: just now
}

// partsOfDay are when a part of a day begins, and the hour that it stands for where
// no other is said. A choice.
var partsOfDay = map[string]struct{ from, hour int }{
	"morning": {4, 8}, "breakfast": {4, 8}, "noon": {12, 12}, "midday": {12, 12}, "lunchtime": {12, 12},
	"afternoon": {12, 15}, "evening": {17, 19}, "night": {19, 21},
}

// dayHour stands for a day of which no hour is said. A choice.
const dayHour = 12

// When reads a time alone, as it may be written in place of --at.
func When(f *farm.Farm, text string, now time.Time) (time.Time, error) {
	p := newParser(f, text, now)
	n := p.time()
	switch {
	case p.question != nil:
		return time.Time{}, p.question
	case n == 0 || n < len(p.words):
		return time.Time{}, ask(AskTime, "%q is no time that can be read; write 2026-05-01T14:30, yesterday 5pm, Tue 17:00 or 2 hours ago", clipped(text, 64))
	}
	return p.act.when.at, nil
}

// aDay is a day that was named.
type aDay struct {
	given bool
	at    time.Time // its midnight
	fixed bool      // no other day can be meant
	today bool
}

// aClock is a time of day that was named.
type aClock struct {
	given     bool
	hour, min int
	from      int    // of a part of the day: the hour from which it is that
	doubt     string // why it could be another one
}

// in is a clock within a part of the day: seven in the evening.
func (c aClock) in(part aClock) aClock {
	switch {
	case !part.given:
		return c
	case !c.given:
		return part
	case c.hour < 12 && part.from >= 12:
		c.hour += 12
	}
	c.doubt = ""
	return c
}

// time reads when something was done.
func (p *parser) time() int {
	if p.last == ofWord {
		return 0
	}
	if n, ok := p.agoOrNow(); ok {
		return n
	}
	if at, ok := p.stamp(p.low(0), time.RFC3339, "2006-01-02T15:04", "2006-01-02 15:04", "2006-01-02T15:04:05", "2006-01-02 15:04:05"); ok {
		if at.After(p.now.Add(ahead)) {
			p.wonder(ask(AskTime, "%s is still to come", p.words[p.at].raw))
		}
		p.timed(at)
		return 1
	}
	n := 0
	var day aDay
	var clock, part aClock
	for n < len(p.words)-p.at {
		m := n
		if m > 0 && p.low(m) == "," {
			m++
		}
		for preposition := p.low(m); preposition == "on" || preposition == "at" || preposition == "in" || preposition == "the" || preposition == "around" || preposition == "about"; preposition = p.low(m) {
			m++
		}
		at := m > 0 && p.low(m-1) == "at"
		if d, k := p.day(m); k > 0 && !day.given {
			day, n = d, m+k
		} else if c, k := p.clock(m, at || day.given); k > 0 && c.from > 0 && !part.given {
			part, n = c, m+k
		} else if k > 0 && c.from == 0 && !clock.given {
			clock, n = c, m+k
		} else {
			break
		}
	}
	if n == 0 {
		return 0
	}
	when, q := p.moment(day, clock.in(part), p.text[p.words[p.at].at:p.words[p.at+n-1].end])
	p.wonder(q)
	p.timed(when)
	return n
}

// timed puts a time to the act in hand.
func (p *parser) timed(at time.Time) {
	if p.act.when.given && p.joined {
		p.next()
	}
	if p.act.when.given {
		p.wonder(ask(AskTime, "two times for one thing"))
	}
	p.act.when, p.last = moment{true, at}, aTime
}

// agoOrNow reads "just now" and "2 days ago".
func (p *parser) agoOrNow() (n int, ok bool) {
	switch w := p.low(0); {
	case w == "now":
		p.timed(time.Time{})
		return 1, true
	case (w == "just" || w == "right") && p.low(1) == "now":
		p.timed(time.Time{})
		return 2, true
	case w == "tomorrow" || w == "later" || w == "tonight" && p.now.Hour() < partsOfDay["night"].from:
		p.wonder(ask(AskTime, "%s is still to come", w))
		p.timed(time.Time{})
		return 1, true
	}
	count, n := p.number(0)
	if n == 0 {
		return 0, false
	}
	for p.low(n) == "an" || p.low(n) == "a" || p.low(n) == "of" {
		n++
	}
	one, err := quantity.ParseDuration("1 " + p.low(n))
	if err != nil || p.low(n+1) != "ago" {
		return 0, false
	}
	p.timed(p.now.Add(-time.Duration(count * float64(one))).Truncate(time.Minute))
	return n + 2, true
}

var weekdays = map[string]time.Weekday{
	"sun": 0, "sunday": 0, "mon": 1, "monday": 1, "tue": 2, "tues": 2, "tuesday": 2, "wed": 3, "weds": 3, "wednesday": 3,
	"thu": 4, "thur": 4, "thurs": 4, "thursday": 4, "fri": 5, "friday": 5, "sat": 6, "saturday": 6,
}

func monthOf(w string) time.Month {
	for m := time.January; m <= time.December; m++ {
		if name := strings.ToLower(m.String()); w == name || w == name[:3] || w == "sept" && m == time.September {
			return m
		}
	}
	return 0
}

// day reads a day n words on.
func (p *parser) day(n int) (d aDay, words int) {
	y, m, dd := p.now.Date()
	midnight := func(back int) time.Time { return time.Date(y, m, dd-back, 0, 0, 0, 0, p.now.Location()) }
	w, from := p.low(n), n
	last := w == "last"
	if last || w == "this" {
		n, w = n+1, p.low(n+1)
	}
	_, isPart := partsOfDay[w]
	switch weekday, ok := weekdays[w]; {
	case isPart && last && w == "night":
		return aDay{true, midnight(1), true, false}, n - from // the clock reads "night"
	case isPart && !last && n > from:
		return aDay{true, midnight(0), true, true}, n - from // "this" of "this morning"
	case ok:
		back := (int(p.now.Weekday()) - int(weekday) + 7) % 7
		if back == 0 && last {
			back = 7
		}
		return aDay{true, midnight(back), back > 0, back == 0}, n + 1 - from
	case n > from:
		return d, 0
	case w == "today":
		return aDay{true, midnight(0), true, true}, 1
	case w == "tonight":
		return aDay{true, midnight(0), true, true}, 1
	case w == "yesterday":
		return aDay{true, midnight(1), true, false}, 1
	case w == "day" && p.low(n+1) == "before" && p.low(n+2) == "yesterday":
		return aDay{true, midnight(2), true, false}, 3
	}
	if at, ok := p.stamp(w, "2006-01-02"); ok {
		return aDay{true, at, true, false}, 1
	}
	return p.date(n)
}

// date reads "3 May", "3rd of May 2026" and "May 3".
func (p *parser) date(n int) (d aDay, words int) {
	from, w := n, p.low(n)
	month, number := monthOf(w), ""
	switch {
	case month != 0 && isNumber(p.low(n+1)):
		number, n = p.low(n+1), p.pastOrdinal(n+2)
	case isNumber(w):
		number, n = w, p.pastOrdinal(n+1)
		if p.low(n) == "of" {
			n++
		}
		if month = monthOf(p.low(n)); month == 0 {
			return d, 0
		}
		n++
	default:
		return d, 0
	}
	day, err := strconv.Atoi(number)
	if err != nil || day < 1 || day > 31 {
		return d, 0
	}
	year := p.now.Year()
	if y, err := strconv.Atoi(p.low(n)); err == nil && y > 1999 && y < 2200 {
		year, n = y, n+1
	} else if time.Date(year, month, day, 0, 0, 0, 0, p.now.Location()).After(p.now) {
		year--
	}
	at := time.Date(year, month, day, 0, 0, 0, 0, p.now.Location())
	if at.Day() != day {
		p.wonder(ask(AskTime, "%s has no day %d", month, day))
	}
	return aDay{true, at, true, at.YearDay() == p.now.YearDay() && at.Year() == p.now.Year()}, n - from
}

func (p *parser) pastOrdinal(n int) int {
	switch p.low(n) {
	case "st", "nd", "rd", "th":
		return n + 1
	}
	return n
}

// stamp reads a word as a time in one of some layouts, in the farm's zone.
func (p *parser) stamp(w string, layouts ...string) (time.Time, bool) {
	for _, layout := range layouts {
		if at, err := time.ParseInLocation(layout, strings.ToUpper(w), p.now.Location()); err == nil {
			return at.In(p.now.Location()), true
		}
	}
	return time.Time{}, false
}

// clock reads a time of day n words on; a number alone is one only where a time is
// awaited.
func (p *parser) clock(n int, awaited bool) (c aClock, words int) {
	from, w := n, p.low(n)
	if part, ok := partsOfDay[w]; ok {
		return aClock{given: true, hour: part.hour, from: part.from}, 1
	}
	hour, err := strconv.Atoi(w)
	if err != nil || hour > 24 || len(w) > 2 {
		return c, 0
	}
	c, n = aClock{given: true, hour: hour}, n+1
	colon := p.low(n) == ":" && p.at+n < len(p.words) && p.words[p.at+n].glued && len(p.low(n+1)) == 2 && isNumber(p.low(n+1))
	if colon {
		c.min, _ = strconv.Atoi(p.low(n + 1))
		n += 2
	}
	half := p.low(n)
	if half == "a" || half == "p" {
		if p.low(n+1) == "." && p.low(n+2) == "m" {
			half, n = half+"m", n+2
			if p.low(n+1) == "." {
				n++
			}
		}
	}
	switch {
	case (half == "am" || half == "pm") && hour >= 1 && hour <= 12:
		c.hour = hour % 12
		if half == "pm" {
			c.hour += 12
		}
		n++
	case half == "o'clock" || half == "o’clock":
		n++
		if hour <= 12 {
			c.doubt = "in the morning or the afternoon"
		}
	case colon:
	case !awaited:
		return aClock{}, 0
	default:
		if _, _, unit := p.unit(n); unit > 0 {
			return aClock{}, 0
		}
		if hour <= 12 {
			c.doubt = "in the morning or the afternoon"
		}
	}
	if c.hour > 23 || c.min > 59 {
		p.wonder(ask(AskTime, "no day has %d:%02d", hour, c.min))
	}
	return c, n - from
}

// moment is the time of a day and a clock.
func (p *parser) moment(day aDay, clock aClock, said string) (time.Time, *Question) {
	at := day.at
	if !day.given {
		y, m, d := p.now.Date()
		at, day.today = time.Date(y, m, d, 0, 0, 0, 0, p.now.Location()), true
	}
	y, m, d := at.Date()
	on := func(hour, min int) time.Time { return time.Date(y, m, d, hour, min, 0, 0, p.now.Location()) }
	switch {
	case clock.doubt != "":
		return at, ask(AskTime, "%q: %s?", said, clock.doubt)
	case !day.fixed && day.given:
		return at, ask(AskTime, "%q: today, or a week ago?", said)
	case day.today && !clock.given:
		return time.Time{}, nil
	case !clock.given:
		return on(dayHour, 0), nil
	}
	at = on(clock.hour, clock.min)
	switch {
	case at.After(p.now) && day.today && clock.from > 0 && !on(clock.from, 0).After(p.now):
		return time.Time{}, nil // this morning, at seven
	case at.After(p.now) && !day.given:
		return at, ask(AskTime, "%q is still to come today; if it was yesterday, say so", said)
	case at.After(p.now):
		return at, ask(AskTime, "%q is still to come", said)
	}
	return at, nil
}
