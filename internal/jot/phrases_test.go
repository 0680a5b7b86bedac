package jot_test

import (
	"bufio"
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/jot"
)

// hillfoot is the farm that the phrases are said at.
func hillfoot(t testing.TB) *farm.Farm {
	t.Helper()
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	one := func(name string, litres float64, aim farm.Aim) farm.Bin {
		return farm.Bin{Name: name, VolumeL: litres, Zones: []farm.Zone{{Name: "all", Aim: aim}}}
	}
	return &farm.Farm{
		Name: "Hillfoot Nursery", Location: london, Species: husbandry.Species(), Feeds: husbandry.Feeds(),
		Vessels: []farm.Vessel{
			{Name: "pan", Holds: farm.Amount{Litres: 2 * 0.946352946}}, {Name: "bucket", Holds: farm.Amount{Litres: 9}}, {Name: "scoop", Holds: farm.Amount{Kg: 0.3}},
		},
		Bins: []farm.Bin{
			{Name: "bed", VolumeL: 160, Zones: []farm.Zone{{Name: "near", Aim: farm.Living}, {Name: "far", Aim: farm.Sifting}}},
			{Name: "barrel", VolumeL: 200, Zones: []farm.Zone{{Name: "feed", Aim: farm.Living}, {Name: "end", Aim: farm.Sifting}}},
			one("crate", 60, farm.Keeping), one("tub-2", 40, farm.Keeping),
			one("rack-01", 50, farm.Living), one("rack-02", 50, farm.Living),
			{Name: "old bath", VolumeL: 180, Zones: []farm.Zone{{Name: "warm end", Aim: farm.Living}, {Name: "cold end", Aim: farm.Living}}},
		},
	}
}

func said(t testing.TB) time.Time { return time.Date(2026, 5, 8, 14, 30, 0, 0, hillfoot(t).Location) }

// A phrase of testdata/phrases.txt and its meaning.
type phrase struct{ text, means string }

func phrases(t testing.TB) (all []phrase) {
	t.Helper()
	file, err := os.Open("testdata/phrases.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for lines := bufio.NewScanner(file); lines.Scan(); {
		if text, means, ok := strings.Cut(lines.Text(), " => "); ok && !strings.HasPrefix(text, "#") {
			all = append(all, phrase{text, means})
		}
	}
	return all
}

// meaning writes a reading as the phrases have it.
func meaning(r jot.Reading, err error, loc *time.Location) string {
	if q := (*jot.Question)(nil); errors.As(err, &q) {
		return "? " + string(q.About)
	}
	var lines []string
	for _, j := range r.Jots {
		words := j.Words
		j.Words = ""
		amount := func(unit string) func(float64) string {
			return func(v float64) string {
				s := strconv.FormatFloat(math.Round(1000*v)/1000, 'f', -1, 64) + " " + unit
				return s
			}
		}
		line := farm.Place{Bin: j.Bin, Zone: j.Zone}.String() + " " + j.Said(amount("kg"), amount("L"))
		if j.Kg+j.Litres == 0 && j.Of != "" {
			line = strings.Replace(line, " "+j.Of, " of "+j.Of, 1)
		}
		if words != "" {
			line += fmt.Sprintf(" %q", words)
		}
		if !j.At.IsZero() {
			line += " @" + j.At.In(loc).Format("2006-01-02 15:04")
		}
		lines = append(lines, line)
	}
	return strings.Join(lines, " ; ")
}

func TestPhrases(t *testing.T) {
	f := hillfoot(t)
	all := phrases(t)
	if len(all) < 200 {
		t.Fatalf("got %d phrases, want 200 at least", len(all))
	}
	for _, p := range all {
		r, err := jot.Read(f, p.text, said(t))
		if got := meaning(r, err, f.Location); got != p.means {
			t.Errorf("%s\n  got  %s (%v)\n  want %s", p.text, got, err, p.means)
		}
	}
}
