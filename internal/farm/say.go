package farm

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// SayTime says when something is, seen from now, in the farm's time zone: "by
// about 4 pm", with the weekday or date when it is not today.
func SayTime(t, now time.Time, loc *time.Location) string {
	t, now = t.In(loc).Round(time.Hour), now.In(loc)
	hour := t.Format("3 pm")
	switch {
	case t.Hour() == 0:
		hour = "midnight"
	case t.Hour() == 12:
		hour = "noon"
	}
	if sameDay(t, now) {
		return "about " + hour
	}
	if d := daysBetween(now, t); d > -2 && d <= 2 {
		return SayDay(t, now, loc) + " about " + hour
	}
	return SayDay(t, now, loc)
}

// SayDay says which day t is, seen from now: today, tomorrow, Thursday, 3 May.
func SayDay(t, now time.Time, loc *time.Location) string {
	t, now = t.In(loc), now.In(loc)
	switch d := daysBetween(now, t); {
	case d == 0:
		return "today"
	case d == 1:
		return "tomorrow"
	case d == -1:
		return "yesterday"
	case d > 1 && d < 7:
		return t.Weekday().String()
	case t.Year() == now.Year() || (d > 0 && d < 180):
		return t.Format("2 January")
	}
	return t.Format("2 January 2006")
}

// SaySpan says from when to when in days: "Thursday to Saturday", "today". Both
// ends are named alike: a weekday beside a date would be hard to follow.
func SaySpan(from, to, now time.Time, loc *time.Location) string {
	a, b := SayDay(from, now, loc), SayDay(to, now, loc)
	switch {
	case a == b:
		return a
	case daysBetween(now.In(loc), to.In(loc)) < 7:
		return a + " to " + b
	case daysBetween(now.In(loc), from.In(loc)) < 2: // today, tomorrow
		return a + " to " + b
	}
	a = from.In(loc).Format("2 January")
	if from.In(loc).Month() == to.In(loc).Month() && from.In(loc).Year() == to.In(loc).Year() {
		a = from.In(loc).Format("2")
	}
	return a + " to " + b
}

// SayLong says how long something lasts: "40 minutes", "3 hours", "5 days",
// "3 weeks".
func SayLong(d time.Duration) string {
	h := d.Hours()
	switch {
	case d < time.Minute:
		return "less than a minute"
	case h < 1.5:
		return count(d.Minutes(), "minute")
	case h < 36:
		return count(h, "hour")
	case h < 24*21:
		return count(h/24, "day")
	}
	return count(h/24/7, "week")
}

func count(v float64, unit string) string {
	n := int(math.Round(v))
	if n == 1 {
		return "1 " + unit
	}
	return fmt.Sprintf("%d %ss", n, unit)
}

func sameDay(a, b time.Time) bool { return daysBetween(a, b) == 0 }

// daysBetween counts midnights from a to b, both in one location. Noon of each
// day is compared, so a day of 23 or 25 hours counts as one.
func daysBetween(a, b time.Time) int {
	ay, am, ad := a.Date()
	by, bm, bd := b.Date()
	d := time.Date(by, bm, bd, 12, 0, 0, 0, time.UTC).Sub(time.Date(ay, am, ad, 12, 0, 0, 0, time.UTC))
	return int(d.Hours() / 24)
}

// SayPart adds to worms which part of a bin's worms they are: "blue worms (5
// %)". All of them need no number.
func SayPart(worms string, part float64) string {
	switch {
	case part <= 0 || part > 0.9999:
		return worms
	case part < 0.01:
		return worms + " (under 1 %)"
	case part > 0.99:
		return worms + " (over 99 %)"
	}
	return fmt.Sprintf("%s (%.0f %%)", worms, 100*part)
}

// Capital writes a word with its first letter upper-case, as a sentence
// begins.
func Capital(word string) string {
	r, n := utf8.DecodeRuneInString(word)
	if n == 0 {
		return ""
	}
	return string(unicode.ToUpper(r)) + word[n:]
}

// SayList joins words as in a sentence: "red, European and blue worms".
func SayList(words []string) string {
	n := len(words)
	if n < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
}

// SayPlace names a zone of the farm as a keeper would: see the function.
func (f *Farm) SayPlace(bin, zone string) string {
	b, _ := f.BinByName(bin)
	return SayPlace(bin, zone, len(b.Zones) == 1)
}

// SayPlace names a zone as a keeper would: "Bed, near"; a bin whose only zone
// needs no name of its own is just "Crate".
func SayPlace(bin, zone string, onlyZone bool) string {
	if onlyZone || zone == "" {
		return Capital(bin)
	}
	return Capital(bin) + ", " + zone
}
