package farm

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Dates say days and times as the people of a farm do: in its time zone, and with
// the month before the day where they read US units.
type Dates struct {
	Location *time.Location
	Units    Units
}

// Dates are those of the farm.
func (f *Farm) Dates() Dates { return Dates{f.Location, f.Units} }

// Date is the day of the year: "3 May", "May 3".
func (d Dates) Date(t time.Time) string { return d.format(t, "2 January", "January 2") }

// Short is the day in short: "Sun 3 May".
func (d Dates) Short(t time.Time) string { return d.format(t, "Mon 2 Jan", "Mon Jan 2") }

// Stamp is the full time in short: "Sun 3 May, 14:05".
func (d Dates) Stamp(t time.Time) string {
	return d.Short(t) + t.In(d.Location).Format(", 15:04")
}

// Long is the day in full: "Sunday 3 May 2026", "Sunday, May 3, 2026".
func (d Dates) Long(t time.Time) string {
	return d.format(t, "Monday 2 January 2006", "Monday, January 2, 2006")
}

// DayMonth is the layout of a day and its month, short, as [time.Time.Format] takes it.
func (d Dates) DayMonth() string { return d.layout("2 Jan", "Jan 2") }

func (d Dates) layout(metric, us string) string {
	if d.Units == US {
		return us
	}
	return metric
}

func (d Dates) format(t time.Time, layout, us string) string {
	return t.In(d.Location).Format(d.layout(layout, us))
}

// Time says when something is, seen from now: "about 4 pm", with the weekday or
// date when it is not today.
func (d Dates) Time(t, now time.Time) string {
	t, now = t.In(d.Location).Round(time.Hour), now.In(d.Location)
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
	if days := daysBetween(now, t); days > -2 && days <= 2 {
		return d.Day(t, now) + " about " + hour
	}
	return d.Day(t, now)
}

// About is Time where it is a guess: "about 4 pm", "about 3 May".
func (d Dates) About(t, now time.Time) string {
	said := d.Time(t, now)
	if !strings.Contains(said, "about") {
		said = "about " + said
	}
	return said
}

// Clock says a moment by the clock on the wall, with its day where that is another.
func (d Dates) Clock(t, now time.Time) string {
	if now.Sub(t).Abs() < 12*time.Hour {
		return t.In(d.Location).Format("15:04")
	}
	return d.Stamp(t)
}

// Day says which day t is, seen from now: today, tomorrow, Thursday, 3 May.
func (d Dates) Day(t, now time.Time) string {
	t, now = t.In(d.Location), now.In(d.Location)
	switch days := daysBetween(now, t); {
	case days == 0:
		return "today"
	case days == 1:
		return "tomorrow"
	case days == -1:
		return "yesterday"
	case days > 1 && days < 7:
		return t.Weekday().String()
	case t.Year() == now.Year() || (days > 0 && days < 180):
		return d.Date(t)
	}
	return d.format(t, "2 January 2006", "January 2, 2006")
}

// Span says from when to when in days: "Thursday to Saturday", "today". Both ends
// are named alike: a weekday beside a date would be hard to follow.
func (d Dates) Span(from, to, now time.Time) string {
	a, b := d.Day(from, now), d.Day(to, now)
	from, to, now = from.In(d.Location), to.In(d.Location), now.In(d.Location)
	switch {
	case a == b:
		return a
	case daysBetween(now, to) < 7:
		return a + " to " + b
	case daysBetween(now, from) < 2: // today, tomorrow
		return a + " to " + b
	case from.Month() != to.Month() || from.Year() != to.Year():
		return d.Date(from) + " to " + b
	case d.Units == US:
		return d.Date(from) + " to " + strings.TrimPrefix(b, to.Month().String()+" ")
	}
	return from.Format("2") + " to " + b
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

func count(v float64, unit string) string { return SayCount(int(math.Round(v)), unit) }

// SayCount counts things: "1 bin", "4 bins".
func SayCount(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
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
func SayList(words []string) string { return joined(words, "and") }

// SayFew joins as many words as one reads at a glance, and says how many more there are.
func SayFew(words []string) string {
	const most = 5
	if more := len(words) - most; more > 1 {
		words = append(words[:most:most], fmt.Sprintf("%d more", more))
	}
	return SayList(words)
}

// SayChoice joins words of which one is meant.
func SayChoice(words []string) string { return joined(words, "or") }

func joined(words []string, by string) string {
	n := len(words)
	if n < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:n-1], ", ") + " " + by + " " + words[n-1]
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

// numbered is a name with a number in it, the last one where there are several.
var numbered = regexp.MustCompile(`^(.*?)(\d+)(\D*)$`)

// SayNames joins names in a sentence, those that are numbered in a row by its ends:
// "Linden-01 to 10 and crate".
func SayNames(names []string) string {
	const row = 3 // so many make one
	var said []string
	names, first := slices.Clone(names), map[string]int{} // by the name without its number
	bare := func(name string) string { return numbered.ReplaceAllString(name, "$1\x00$3") }
	for i, name := range names {
		if _, ok := first[bare(name)]; !ok {
			first[bare(name)] = i
		}
	}
	slices.SortStableFunc(names, func(a, b string) int { return first[bare(a)] - first[bare(b)] })
	for i := 0; i < len(names); {
		n := 1
		for i+n < len(names) && follows(names[i+n-1], names[i+n]) {
			n++
		}
		if n < row {
			said = append(said, names[i])
			i++
			continue
		}
		last := names[i+n-1]
		if part := numbered.FindStringSubmatch(last); part[3] == "" {
			last = part[2]
		}
		said = append(said, names[i]+" to "+last)
		i += n
	}
	return SayList(said)
}

// follows tells whether a name has the number after that of another.
func follows(a, b string) bool {
	x, y := numbered.FindStringSubmatch(a), numbered.FindStringSubmatch(b)
	if x == nil || y == nil || x[1] != y[1] || x[3] != y[3] {
		return false
	}
	n, err := strconv.Atoi(x[2])
	m, err2 := strconv.Atoi(y[2])
	return err == nil && err2 == nil && m == n+1
}
