package notify_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"binwatchd/internal/notify"
)

func at(t *testing.T, loc *time.Location, s string) time.Time {
	t.Helper()
	when, err := time.ParseInLocation("2006-01-02 15:04", s, loc)
	if err != nil {
		t.Fatal(err)
	}
	return when
}

// Clocks in Europe/London go forward on 30 March 2025 at 01:00 and back on 26
// October 2025 at 02:00 (IANA time zone database).
func TestScheduleGoesByTheClockOnTheWall(t *testing.T) {
	loc := london(t)
	sat := notify.Schedule{Days: []time.Weekday{time.Saturday}, At: 8 * time.Hour}
	sunNight := notify.Schedule{Days: []time.Weekday{time.Sunday}, At: 90 * time.Minute}
	tests := []struct {
		name  string
		s     notify.Schedule
		after string
		want  string // UTC
	}{
		{"the coming Saturday", sat, "2025-07-08 14:00", "2025-07-12T07:00:00Z"},
		{"on the minute: the next week", sat, "2025-07-12 08:00", "2025-07-19T07:00:00Z"},
		{"over the change to summer time", sat, "2025-03-29 09:00", "2025-04-05T07:00:00Z"},
		{"over the change to winter time", sat, "2025-10-25 09:00", "2025-11-01T08:00:00Z"},
		{"every day", notify.Schedule{At: 7*time.Hour + 30*time.Minute}, "2025-12-31 07:30", "2026-01-01T07:30:00Z"},
		{"an hour that is left out", sunNight, "2025-03-29 12:00", "2025-03-30T01:30:00Z"},
		{"an hour that comes twice", sunNight, "2025-10-25 12:00", "2025-10-26T00:30:00Z"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := tt.s.Next(at(t, loc, tt.after), loc).UTC().Format(time.RFC3339)
			if got != tt.want {
				t.Errorf("got %s, want %s", got, tt.want)
			}
		})
	}
}

// Every zone that changes clocks, at any minute: each day has the schedule's
// moment once, in order, and Last and Next agree.
func TestScheduleHasEachDayOnce(t *testing.T) {
	zones := []string{"Europe/London", "America/New_York", "Australia/Lord_Howe", "America/Asuncion", "Asia/Beirut", "Pacific/Apia", "UTC"}
	rapid.Check(t, func(t *rapid.T) {
		loc, err := time.LoadLocation(rapid.SampledFrom(zones).Draw(t, "zone"))
		if err != nil {
			t.Fatal(err)
		}
		s := notify.Schedule{At: time.Duration(rapid.IntRange(0, 24*60-1).Draw(t, "minute")) * time.Minute}
		when := time.Unix(rapid.Int64Range(1.7e9, 1.9e9).Draw(t, "from"), 0)
		for range 30 {
			next := s.Next(when, loc)
			if !next.After(when) {
				t.Fatalf("next of %s is %s", when, next)
			}
			if gap := next.Sub(when); gap > 49*time.Hour {
				t.Fatalf("%s is %s after %s", next, gap, when)
			}
			if last := s.Last(next, loc); !last.Equal(next) {
				t.Fatalf("last of %s is %s", next, last)
			}
			if last := s.Last(next.Add(-time.Second), loc); last.After(when) {
				t.Fatalf("%s lies between %s and %s", last, when, next)
			}
			when = next
		}
	})
}

func TestQuietWindow(t *testing.T) {
	loc := london(t)
	night := notify.Window{From: 22 * time.Hour, To: 7 * time.Hour}
	tests := []struct {
		name   string
		w      notify.Window
		at     string
		inside bool
		end    string
	}{
		{"before", night, "2025-07-08 21:59", false, ""},
		{"at its start", night, "2025-07-08 22:00", true, "2025-07-09 07:00"},
		{"after midnight", night, "2025-07-09 03:00", true, "2025-07-09 07:00"},
		{"at its end", night, "2025-07-09 07:00", false, ""},
		{"a short night", night, "2025-03-29 23:00", true, "2025-03-30 07:00"},
		{"a long night", night, "2025-10-25 23:00", true, "2025-10-26 07:00"},
		{"within a day", notify.Window{From: 12 * time.Hour, To: 14 * time.Hour}, "2025-07-08 13:00", true, "2025-07-08 14:00"},
		{"no time at all", notify.Window{From: 8 * time.Hour, To: 8 * time.Hour}, "2025-07-08 08:00", false, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			end, inside := tt.w.Ends(at(t, loc, tt.at), loc)
			if inside != tt.inside {
				t.Fatalf("inside is %v", inside)
			}
			if inside && !end.Equal(at(t, loc, tt.end)) {
				t.Errorf("ends %s, want %s", end, tt.end)
			}
		})
	}
}
