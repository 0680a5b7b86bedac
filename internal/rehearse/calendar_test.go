package rehearse_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/rehearse"
)

// sevenDays is a recording of a bed that dries, is watered in the middle, is fed and heats, by
// the hours since it began alone.
func sevenDays(from time.Time) string {
	var b strings.Builder
	b.WriteString("time,topic,payload\n")
	say := func(at time.Time, topic, payload string) {
		fmt.Fprintf(&b, "%s,%s,%q\n", at.UTC().Format(time.RFC3339), topic, payload)
	}
	for m := 0; m < 7*24*60; m += 20 {
		at, h := from.Add(time.Duration(m)*time.Minute), float64(m)/60
		moisture := 79 - h/12
		if h >= 132 {
			moisture += 8
		}
		c := 19 + 1.2*math.Sin(2*math.Pi*h/24)
		if h > 100 { // fed, and it shows
			c += 16 * (1 - math.Exp(-(h-100)/20)) * math.Exp(-max(0, h-130)/30)
		}
		say(at, "bed/t0", fmt.Sprintf("%.1f", c))
		say(at, "bed/m0", fmt.Sprintf("%.1f", moisture))
		switch m {
		case 99 * 60:
			say(at, "binwatch/jot/bed0", "fed 2 kg of grain")
		case 132 * 60:
			say(at, "binwatch/jot/bed0", "watered 6 L")
		}
	}
	return b.String()
}

// noticed lists what is noticed in the seven days from a moment on, by the time since then.
func noticed(t *testing.T, loc *time.Location, from time.Time) string {
	t.Helper()
	f := bed()
	f.Location = loc
	f.Bins, f.Probes = f.Bins[:1], f.Probes[:2]
	for i := range f.Probes {
		f.Probes[i].Every, f.Probes[i].Value = 20*time.Minute, ""
	}
	var b strings.Builder
	since := func(at time.Time) string {
		if at.IsZero() {
			return "-"
		}
		return at.Sub(from).Truncate(time.Minute).String()
	}
	r := rehearse.New(rehearse.Config{Farm: f, Prefix: "binwatch", On: func(ch farm.Change) {
		fmt.Fprintf(&b, "%s %s %s %s", since(ch.At), ch.Condition, ch.Change, ch.Urgency)
		if fc := ch.Forecast; fc != nil {
			fmt.Fprintf(&b, " crosses %s, %s to %s", since(fc.Crosses), since(fc.Earliest), since(fc.Latest))
		}
		b.WriteByte('\n')
	}})
	if err := r.Messages(t.Context(), strings.NewReader(sevenDays(from))); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// What is noticed and foreseen does not hang on the calendar: across both changes of the
// clock, a leap day and the turn of the year it is the same, after the same hours. The
// dates of the changes are those of the time zone database (IANA, 2025b); 2028 is a leap year by the
// Gregorian calendar (ISO 8601).
func TestTheCalendarChangesNothing(t *testing.T) {
	var want string
	for _, tt := range []struct {
		zone, middle string // the sixth day begins then
	}{
		{"UTC", "2026-06-15T00:00"}, {"Europe/London", "2026-03-29T00:00"}, {"Europe/London", "2026-10-25T00:00"}, {"America/New_York", "2026-03-08T00:00"},
		{"America/New_York", "2026-11-01T00:00"}, {"Australia/Lord_Howe", "2026-04-05T00:00"}, {"Europe/London", "2028-02-29T00:00"}, {"Europe/London", "2027-01-01T00:00"},
	} {
		loc, err := time.LoadLocation(tt.zone)
		if err != nil {
			t.Fatal(err)
		}
		middle, err := time.ParseInLocation("2006-01-02T15:04", tt.middle, loc)
		if err != nil {
			t.Fatal(err)
		}
		got := noticed(t, loc, middle.Add(-5*24*time.Hour))
		if want == "" {
			want = got
			for _, must := range []string{"heating raised", "drying raised", "too-dry raised", "crosses"} {
				if !strings.Contains(want, must) {
					t.Errorf("nothing is %s in\n%s", must, want)
				}
			}
		}
		if got != want {
			t.Errorf("around %s in %s:\n%swant\n%s", tt.middle, tt.zone, got, want)
		}
	}
}
