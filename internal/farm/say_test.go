package farm_test

import (
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

func TestSayDaySpanAndTime(t *testing.T) {
	loc, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	dates, us := farm.Dates{Location: loc}, farm.Dates{Location: loc, Units: farm.US}
	now := time.Date(2026, 3, 27, 10, 0, 0, 0, loc) // a Friday; the clocks change on Sunday
	at := func(days, hour int) time.Time { return time.Date(2026, 3, 27+days, hour, 20, 0, 0, loc) }
	for _, tt := range []struct{ name, got, want string }{
		{"today", dates.Day(at(0, 23), now), "today"},
		{"tomorrow", dates.Day(at(1, 1), now), "tomorrow"},
		{"yesterday", dates.Day(at(-1, 23), now), "yesterday"},
		{"over the change of clocks", dates.Day(at(3, 0), now), "Monday"},
		{"a week on", dates.Day(at(7, 9), now), "3 April"},
		{"another year", dates.Day(at(-200, 9), now), "8 September 2025"},
		{"span of weekdays", dates.Span(at(2, 9), at(4, 9), now), "Sunday to Tuesday"},
		{"span of one day", dates.Span(at(2, 9), at(2, 20), now), "Sunday"},
		{"span from tomorrow", dates.Span(at(1, 9), at(9, 20), now), "tomorrow to 5 April"},
		{"span of dates", dates.Span(at(3, 9), at(9, 20), now), "30 March to 5 April"},
		{"span within a month", dates.Span(at(8, 9), at(12, 20), now), "4 to 8 April"},
		{"by the hour", dates.Time(at(0, 16), now), "about 4 pm"},
		{"noon", dates.Time(at(0, 12), now), "about noon"},
		{"midnight", dates.Time(at(1, 0), now), "tomorrow about midnight"},
		{"far off", dates.Time(at(4, 16), now), "Tuesday"},
		{"a week on, US", us.Day(at(7, 9), now), "April 3"},
		{"another year, US", us.Day(at(-200, 9), now), "September 8, 2025"},
		{"span of dates, US", us.Span(at(3, 9), at(9, 20), now), "March 30 to April 5"},
		{"span within a month, US", us.Span(at(8, 9), at(12, 20), now), "April 4 to 8"},
		{"span into another year", dates.Span(at(278, 9), at(290, 9), now), "30 December to 11 January 2027"},
		{"full day, US", us.Long(now), "Friday, March 27, 2026"},
		{"stamp", dates.Stamp(now), "Fri 27 Mar, 10:00"},
		{"stamp, US", us.Stamp(now), "Fri Mar 27, 10:00"},
	} {
		if tt.got != tt.want {
			t.Errorf("%s: got %q, want %q", tt.name, tt.got, tt.want)
		}
	}
}

func TestSayLong(t *testing.T) {
	for d, want := range map[time.Duration]string{
		20 * time.Second: "less than a minute", 40 * time.Minute: "40 minutes", 100 * time.Minute: "2 hours",
		30 * time.Hour: "30 hours", 47 * time.Hour: "2 days", 24 * 24 * time.Hour: "3 weeks",
	} {
		if got := farm.SayLong(d); got != want {
			t.Errorf("%s: got %q, want %q", d, got, want)
		}
	}
}

// Amounts are rounded to what a keeper can measure with a jug.
func TestAmountsAsAPersonSaysThem(t *testing.T) {
	for _, tt := range []struct{ got, want string }{
		{farm.Metric.Volume(2.93), "about 3 litres"},
		{farm.Metric.VolumeOf(8, 48), "about 8 of 50 litres"},
		{farm.Metric.VolumeOf(0.1, 48), "a little under ¼ litre of 50 litres"},
		{farm.US.VolumeOf(9*3.785411784, 21*3.785411784), "about 9 of 21 gallons"},
		{farm.US.VolumeOf(3.785411784, 21*3.785411784), "about 1 of 21 gallons"},
		{farm.US.VolumeOf(2*0.946352946, 21*3.785411784), "about 2 quarts of 21 gallons"},
		{farm.Metric.Volume(1.2), "about 1¼ litres"},
		{farm.Metric.Volume(0.95), "about 1 litre"},
		{farm.Metric.Volume(0.05), "a little under ¼ litre"},
		{farm.Metric.Volume(0), "no litres"},
		{farm.Metric.Volume(17.4), "about 17 litres"},
		{farm.Metric.Volume(203), "about 205 litres"},
		{farm.US.Volume(3.785411784), "about 1 gallon"},
		{farm.US.Volume(2.8), "about 3 quarts"},
		{farm.US.Volume(0.473), "about 1 pint"},
		{farm.US.Volume(0.25), "about ½ pint"},
		{farm.US.Volume(4.7), "about 1¼ gallons"},
		{farm.Metric.Mass(2.04), "about 2 kg"},
		{farm.US.Mass(2), "about 4½ lb"},
		{farm.Metric.Temperature(18.46), "18.5 °C"},
		{farm.Metric.Temperature(-0.01), "0 °C"},
		{farm.US.Temperature(18.3333), "65 °F"},
		{farm.US.Moisture(71.6), "72 %"},
	} {
		if tt.got != tt.want {
			t.Errorf("got %q, want %q", tt.got, tt.want)
		}
	}
}

func TestWords(t *testing.T) {
	for _, tt := range []struct{ got, want string }{
		{farm.Capital("élevage"), "Élevage"},
		{farm.SayList(nil), ""},
		{farm.SayList([]string{"a"}), "a"},
		{farm.SayList([]string{"a", "b", "c"}), "a, b and c"},
		{farm.SayFew([]string{"a", "b", "c", "d", "e", "f"}), "a, b, c, d, e and f"},
		{farm.SayFew([]string{"a", "b", "c", "d", "e", "f", "g"}), "a, b, c, d, e and 2 more"},
		{farm.SayPlace("bed", "near", false), "Bed, near"},
		{farm.SayPlace("crate", "all", true), "Crate"},
	} {
		if tt.got != tt.want {
			t.Errorf("got %q, want %q", tt.got, tt.want)
		}
	}
}

func TestNamesInARow(t *testing.T) {
	for names, want := range map[string]string{
		"linden-01 linden-02 linden-03 crate": "linden-01 to 03 and crate",
		"a1-t a1-m a2-t a2-m a3-t a3-m":       "a1-t to a3-t and a1-m to a3-m",
		"bed-9 bed-10 bed-11 bed-13":          "bed-9 to 11 and bed-13",
		"crate":                               "crate",
		"x1 x2":                               "x1 and x2",
		"p99999999999999999999 p1 p2":         "p99999999999999999999, p1 and p2",
	} {
		if got := farm.SayNames(strings.Fields(names)); got != want {
			t.Errorf("%s: got %q, want %q", names, got, want)
		}
	}
}
