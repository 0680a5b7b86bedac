package page

import (
	"crypto/subtle"
	"fmt"
	"net/http"
	"strings"
	"time"

	"binwatchd/internal/chart"
	"binwatchd/internal/farm"
)

// An aheadPage is all that comes, by day, and the castings account as a curve.
type aheadPage struct {
	*visit
	Ahead farm.Ahead
	Days  []dayView
	Curve chart.Chart // its picture is empty where there is no account
}

// A dayView is what comes on one day.
type dayView struct {
	Day   string
	Comes []farm.Coming
}

// ahead is what comes, where anybody reckons it.
func (p *Page) ahead() (a farm.Ahead, ok bool) {
	if p.cfg.Ahead == nil {
		return a, false
	}
	return p.cfg.Ahead()
}

func (v *visit) showAhead() error {
	ahead, ok := v.ahead()
	if !ok {
		return v.notYet()
	}
	v.titled("rounds", "What comes")
	page := aheadPage{visit: v, Ahead: ahead, Curve: v.account(ahead)}
	for i, c := range ahead.Comes {
		if i == 0 || !c.On.Equal(ahead.Comes[i-1].On) {
			page.Days = append(page.Days, dayView{Day: farm.Capital(v.dates().Day(c.On, v.now))})
		}
		last := &page.Days[len(page.Days)-1]
		last.Comes = append(last.Comes, c)
	}
	return v.show(http.StatusOK, "ahead", page)
}

// Says is what comes in a sentence.
func (v *visit) Says(c farm.Coming) string { return c.Says(v.dates(), v.now) }

// account is the curve of what there will be of castings, with its interval.
func (v *visit) account(a farm.Ahead) chart.Chart {
	n := len(a.Castings)
	if n < 2 || a.Castings[n-1].HighL < 0.5 {
		return chart.Chart{}
	}
	step := a.Castings[1].At.Sub(a.Castings[0].At)
	first, last := a.Castings[0], a.Castings[n-1]
	c := chart.Chart{
		Label: fmt.Sprintf("Castings in tubs: %s now, %s by %s, if none is taken out.", v.units.Volume(first.Litres), v.units.VolumeRange(last.LowL, last.HighL), v.dates().Date(last.At)),
		Unit:  v.units.Volumes(), Dates: v.dates(), Height: 180, From: first.At, To: last.At, Now: last.At.Add(step), Step: step, Spread: true,
	}
	for _, n := range a.Needs {
		wanted := fmt.Sprintf("%s wanted by %s", v.units.Volume(n.WantedL), v.dates().Date(n.By))
		if n.For != "" {
			wanted += " for " + n.For
		}
		c.Marks = append(c.Marks, chart.Mark{At: n.By, What: string(farm.Sold), Title: wanted})
	}
	for _, p := range a.Castings {
		c.Samples = append(c.Samples, farm.Sample{At: p.At.Add(-step / 2), Min: p.LowL, Mean: p.Litres, Max: p.HighL, N: 1})
	}
	return c
}

// Picture is the curve; "" where there is none.
func (p aheadPage) Picture() any {
	if len(p.Curve.Samples) == 0 {
		return ""
	}
	return p.Curve.SVG()
}

// CheckKey tells why a key would not do for the address of the calendar, or for a program that comes
// in: whoever knows it is let in, so nobody must guess it. 128 bits are 22 letters and digits.
func CheckKey(key string) error {
	const least, different = 22, 8
	letters := map[rune]bool{}
	for _, r := range key {
		letters[r] = true
		if !strings.ContainsRune("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_", r) {
			return fmt.Errorf("it has other characters than letters, digits, - and _; make one with: openssl rand -hex 16")
		}
	}
	if len(key) < least || len(letters) < different {
		return fmt.Errorf("it is too easily guessed: it wants 22 random letters and digits; make one with: openssl rand -hex 16")
	}
	return nil
}

// calendarPath is where the calendar lies; its key follows and is never shown or logged.
const calendarPath = "/calendar/"

// sendCalendar sends what comes to whoever knows the key. A wrong one is answered as any
// address that is not there.
func (v *visit) sendCalendar() error {
	v.w.Header().Set("Cache-Control", "no-store")
	v.w.Header().Set("Referrer-Policy", "no-referrer")
	key, given := "", strings.TrimSuffix(v.r.PathValue("key"), ".ics")
	if v.cfg.CalendarKey != nil {
		key = v.cfg.CalendarKey()
	}
	same := subtle.ConstantTimeCompare([]byte(key), []byte(given)) == 1
	if CheckKey(key) != nil || !same || v.cfg.Calendar == nil {
		return refuse(http.StatusNotFound, "There is no such page here.")
	}
	text, ok := v.cfg.Calendar()
	if !ok {
		return &refusal{status: http.StatusServiceUnavailable, wait: time.Minute, sentence: "Nothing is known yet. Ask again in a minute."}
	}
	v.send(http.StatusOK, "text/calendar; charset=utf-8", text)
	return nil
}

// shownPath is the request's, as it may be logged.
func shownPath(r *http.Request) string {
	if strings.HasPrefix(r.URL.Path, calendarPath) {
		return calendarPath + "…"
	}
	return clip(r.URL.Path, 80)
}
