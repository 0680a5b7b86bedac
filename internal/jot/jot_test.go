package jot_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/jot"
)

// Whatever is typed: what is taken is within every bound, what is not is asked about
// in one short line, and a note of it keeps the words.
func FuzzRead(f *testing.F) {
	for _, p := range phrases(f) {
		f.Add(p.text)
	}
	for _, s := range []string{"", "/", "-", "1/0 L", "½½", "bed/", "fed", "noted", "noted:", "3 pans of", "\xff\xfe", "fed bed 1e9 kg", "\n\n", "watered bed 99999999999999999999 L", "and and and", "2 L L L", "last", "this", "at", "3rd of", "12:99"} {
		f.Add(s)
	}
	hill, now := hillfoot(f), said(f)
	f.Fuzz(func(t *testing.T, text string) {
		r, err := jot.Read(hill, text, now)
		q := (*jot.Question)(nil)
		switch {
		case err != nil && (!errors.As(err, &q) || q.Why == "" || len(q.Why) > 4*len(text)+600):
			t.Errorf("%q: %v", text, err)
		case err == nil && len(r.Jots) == 0:
			t.Errorf("%q means nothing and is not asked about", text)
		}
		for _, j := range r.Jots {
			if err != nil {
				break
			}
			if j.At.IsZero() {
				j.At = now
			}
			if err := jot.Check(hill, j, now); err != nil {
				t.Errorf("%q: %+v is taken, and out of bounds: %v", text, j, err)
			}
		}
		if note := jot.Note(hill, farm.Place{}, text, now); note.Words != "" {
			note.At = now
			if err := jot.Check(hill, note, now); err != nil {
				t.Errorf("%q: its note is out of bounds: %v", text, err)
			}
		}
	})
}

// A line is written in the farm's time on days of 23 and 25 hours too.
func TestTimesWhereTheClockChanges(t *testing.T) {
	f := hillfoot(t)
	for _, tt := range []struct{ now, text, want string }{
		{"2026-03-29T12:00:00+01:00", "turned bed yesterday 2:30", "2026-03-28T02:30:00Z"},
		{"2026-03-29T12:00:00+01:00", "turned bed at 8am", "2026-03-29T07:00:00Z"},
		{"2026-10-25T12:00:00Z", "turned bed yesterday", "2026-10-24T11:00:00Z"},
		{"2026-10-26T12:00:00Z", "turned bed 24 hours ago", "2026-10-25T12:00:00Z"},
	} {
		now, err := time.Parse(time.RFC3339, tt.now)
		if err != nil {
			t.Fatal(err)
		}
		r, err := jot.Read(f, tt.text, now)
		if err != nil || len(r.Jots) != 1 || r.Jots[0].At.Format(time.RFC3339) != tt.want {
			t.Errorf("%s at %s: got %v, %v, want %s", tt.text, tt.now, r.Jots, err, tt.want)
		}
	}
}

// Every word of the table means its row, alone and in capitals.
func TestEveryFormMeansItsRow(t *testing.T) {
	f := hillfoot(t)
	for _, row := range farm.JotTable {
		for _, form := range row.Spellings() {
			switch row.Name {
			case farm.Noted:
				form += " something"
			case farm.Holds:
				form += " 5 L"
			}
			for _, text := range []string{"bed/near " + form, strings.ToUpper("bed/near " + form)} {
				r, err := jot.Read(f, text, said(t))
				if err != nil || len(r.Jots) != 1 || r.Jots[0].What != row.Name {
					t.Errorf("%q: got %v, %v, want %s", text, r.Jots, err, row.Name)
				}
			}
		}
	}
}

func BenchmarkRead(b *testing.B) {
	f, now := hillfoot(b), said(b)
	for b.Loop() {
		if _, err := jot.Read(f, "fed bed two and a half pounds kitchen scraps and 3 L bedding, watered half a gallon, yesterday at 5pm", now); err != nil {
			b.Fatal(err)
		}
	}
}
