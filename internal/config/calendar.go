package config

import (
	"fmt"
	"strings"
	"time"
)

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
