package jot_test

import (
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/jot"
)

func TestUntil(t *testing.T) {
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	f := &farm.Farm{Location: london}
	morning, late := "2026-05-01T07:12", "2026-05-01T22:40"
	for _, tt := range []struct{ now, words, want string }{
		{morning, "tonight", "2026-05-01T21:00"}, {late, "tonight", "2026-05-02T00:00"}, {morning, " Tonight ", "2026-05-01T21:00"},
		{morning, "tomorrow", "2026-05-02T12:00"}, {morning, "18:00", "2026-05-01T18:00"}, {late, "18:00", "2026-05-02T18:00"},
		{morning, "6 pm", "2026-05-01T18:00"}, {morning, "6:30pm", "2026-05-01T18:30"}, {morning, "2h", "2026-05-01T09:12"},
		{morning, "90m", "2026-05-01T08:42"}, {morning, "7d", "2026-05-08T07:12"}, {morning, "now", morning},
		{"2026-03-28T20:00", "tomorrow", "2026-03-29T12:00"}, // the clocks go forward that night
		{morning, "", ""}, {morning, "8d", ""}, {morning, "0s", ""}, {morning, "-2h", ""}, {morning, "soon", ""}, {morning, "yesterday", ""}, {morning, "25:00", ""},
	} {
		now, err := time.ParseInLocation("2006-01-02T15:04", tt.now, london)
		if err != nil {
			t.Fatal(err)
		}
		got, err := jot.Until(f, tt.words, now)
		if said := got.In(london).Format("2006-01-02T15:04"); tt.want == "" && err == nil || tt.want != "" && (err != nil || said != tt.want) {
			t.Errorf("%s, %q: got %s, %v, want %q", tt.now, tt.words, said, err, tt.want)
		}
	}
}
