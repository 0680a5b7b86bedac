package ahead_test

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	ics "github.com/arran4/golang-ical"

	"binwatchd/internal/ahead"
	"binwatchd/internal/farm"
)

var dates = farm.Dates{Location: time.UTC}

// coming finds what comes of a kind.
func coming(a farm.Ahead, kind farm.ComingKind) (out []farm.Coming) {
	for _, c := range a.Comes {
		if c.Kind == kind {
			out = append(out, c)
		}
	}
	return out
}

func midnight(after time.Duration) time.Time { return now.Add(after).Truncate(day) }

// full is a book in which something of every kind comes.
func full() *ahead.Book {
	f := hillfoot()
	f.Probes = []farm.Probe{
		{ID: "bed-m", Measures: farm.Moisture, Calibration: []farm.Point{{Raw: 1, Value: 2}, {Raw: 2, Value: 3}}},
		{ID: "bed-b", Measures: farm.Battery, Low: 3.3, Of: []string{"bed-m"}},
	}
	f.Bins[0].Zones[0].Probes = []string{"bed-m"}
	eggs := farm.Jot{At: now.Add(-5 * day), Bin: "bed", What: "eggs"}
	var jots []farm.Jot
	for k := 20; k >= 1; k-- {
		jots = append(jots, farm.Jot{At: now.Add(-time.Duration(7*k) * day), Bin: "bed", What: farm.Fed, Kg: 10, Of: "scraps"})
	}
	b := book(f, 20, 80, 50, append(jots, eggs)...)
	zones := b.View.Bins[0].Zones
	zones[0].Rhythms = []farm.Rhythm{{What: farm.Watered, EveryDays: 6, Litres: 2, Next: now.Add(2 * day), Early: now.Add(day), Late: now.Add(3 * day)}}
	zones[1].Outlook = []farm.Outlook{{Condition: farm.SiftReady, Forecast: farm.Forecast{Crosses: now.Add(9 * day), Earliest: now.Add(7 * day), Latest: now.Add(12 * day)}}}
	b.View.Bins[1].Zones[0].Outlook = []farm.Outlook{{Condition: farm.Drying, Text: "below 40 % about Friday", Forecast: farm.Forecast{Crosses: now.Add(20 * day)}}}
	b.Batteries, b.Heard = map[string][]farm.Sample{}, map[string]time.Time{"bed-m": now.Add(-335 * day)}
	for d := 60; d > 0; d-- { // 3.9 V now, a hundredth less each day
		b.Batteries["bed-b"] = append(b.Batteries["bed-b"], farm.Sample{At: now.Add(-time.Duration(d) * day), Mean: 3.9 + 0.01*float64(d)})
	}
	near := farm.Place{Bin: "bed", Zone: "near"}
	for d := 399; d >= 0; d-- { // 20 °C, and 12 from a year before the 40th day to come on
		tempC := 20.0
		if d < 365-40 && d > 200 {
			tempC = 12
		}
		b.Warm[near] = append(b.Warm[near], farm.Sample{At: now.Add(-time.Duration(d) * day).Truncate(day), Mean: tempC})
	}
	for _, l := range zones[0].Levels {
		l.Value = 20
	}
	return b
}

// Something of every kind comes on its day.
func TestAllThatComes(t *testing.T) {
	a := ahead.Look(full(), now.Add(90*day))
	for _, tt := range []struct {
		kind  farm.ComingKind
		n     int
		on    time.Time
		words string
	}{
		{farm.ComesWater, 16, midnight(2 * day), "Bed, near: water about 2 litres, as usual"},
		{farm.ComesSifting, 1, midnight(9 * day), "Bed, far: dry enough to sift; about 55 litres of what is left will go through the screen"},
		// The battery: (3.9 − 3.3) V at 0.01 V a day is 60 days.
		{farm.ComesBattery, 1, midnight(60 * day), "Probe bed-b: the battery will be low"},
		{farm.ComesCalibrate, 1, midnight(30 * day), "Probe bed-m: a year since it was first heard"},
		// The mean of seven days passes 15 °C on the second day of 12 after 20 in the window: 20·n+12·(7−n) < 105, n ≤ 2.
		{farm.ComesSeason, 1, midnight(42 * day), "Bed: colder than red worms like"},
		{farm.ComesNeed, 2, midnight(28 * day), "Bed: the last day to let an end dry for castings by 12 April"},
	} {
		got := coming(a, tt.kind)
		if len(got) != tt.n {
			t.Errorf("%s: %d come, want %d: %+v", tt.kind, len(got), tt.n, got)
		}
		if len(got) > 0 && (!got[0].On.Equal(tt.on) || !strings.HasPrefix(got[0].Text, tt.words)) {
			t.Errorf("%s: got %s: %q, want %s: %q", tt.kind, got[0].On.Format(time.DateOnly), got[0].Text, tt.on.Format(time.DateOnly), tt.words)
		}
	}
	// Red worms: 25 days at 20 °C (Add-my-Pet, E. fetida). Seen 5 days ago, half
	// over: 12.5 days in all, 7 or 8 from now.
	if eggs := coming(a, farm.ComesHatching); len(eggs) != 1 || eggs[0].On.Before(midnight(7*day)) || eggs[0].On.After(midnight(9*day)) {
		t.Errorf("hatching: got %+v", eggs)
	}
	for i, c := range a.Comes[1:] {
		if c.On.Before(a.Comes[i].On) || c.On.After(now.Add(90*day)) {
			t.Fatalf("not by day: %+v after %+v", c, a.Comes[i])
		}
	}
	if short := ahead.Look(full(), now.Add(day)); len(short.Comes) != 0 {
		t.Errorf("within a day: %+v", short.Comes)
	}
	if text := ahead.Text(a, dates); !strings.Contains(text, "\nTuesday\n  Bed, near: water about 2 litres, as usual (tomorrow to Wednesday)\n") {
		t.Errorf("got\n%s", text)
	}
}

// What comes of a calibration stays on its day, however long ago the probe was first heard.
func TestACalibrationComesOnceAYear(t *testing.T) {
	for ago, in := range map[int]int{0: 365, 364: 1, 365: 0, 366: 364, 900: 195, 901: 194} {
		b := full()
		b.Heard["bed-m"] = now.Add(-time.Duration(ago) * day)
		got := coming(ahead.Look(b, now.Add(365*day)), farm.ComesCalibrate)
		if want := midnight(time.Duration(in) * day); len(got) != 1 || !got[0].On.Equal(want) {
			t.Errorf("first heard %d days ago: got %+v, want it on %s", ago, got, want.Format(time.DateOnly))
		}
	}
}

// parsed reads a calendar with a parser of somebody else's.
func parsed(t *testing.T, text []byte) map[string]*ics.VEvent {
	t.Helper()
	cal, err := ics.ParseCalendar(strings.NewReader(string(text)))
	if err != nil {
		t.Fatalf("%v:\n%s", err, text)
	}
	events := map[string]*ics.VEvent{}
	for _, e := range cal.Events() {
		if events[e.Id()] != nil {
			t.Errorf("the UID %s is there twice", e.Id())
		}
		events[e.Id()] = e
	}
	return events
}

func value(e *ics.VEvent, p ics.ComponentProperty) string {
	if v := e.GetProperty(p); v != nil {
		return v.Value
	}
	return ""
}

// What a calendar reads is what comes: each on its day in the farm's zone, under the same
// UID whenever it is asked; words with commas, line ends and letters of any length
// arrive whole; lines are no longer than 75 octets.
func TestCalendarIsReadByOthers(t *testing.T) {
	a := ahead.Look(full(), now.Add(90*day))
	a.Farm = `Hillfoot, "north"; Wurmfarm Größenwahn`
	a.Comes[0].Brief = "Bed, near; water\nnow\\ünd " + strings.Repeat("größer ", 30)
	text := ahead.Calendar(a, dates, true, nil)
	if path := os.Getenv("CALENDAR_OUT"); path != "" { // for a client: tools/calendar
		if err := os.WriteFile(path, text, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	events := parsed(t, text)
	if len(events) != len(a.Comes) {
		t.Fatalf("%d events of %d", len(events), len(a.Comes))
	}
	for line := range strings.SplitSeq(string(text), "\r\n") {
		if len(line) > 75 || strings.ContainsAny(line, "\r\n") {
			t.Errorf("%d octets: %q", len(line), line)
		}
	}
	found := false
	for _, e := range events {
		from, err := e.GetAllDayStartAt()
		to, err2 := e.GetAllDayEndAt()
		if err != nil || err2 != nil || to.Sub(from) != day {
			t.Errorf("%v, %v: %s to %s", err, err2, from, to)
		}
		found = found || value(e, ics.ComponentPropertySummary) == a.Comes[0].Brief
	}
	if !found {
		t.Errorf("the summary %q is not there:\n%s", a.Comes[0].Brief, text)
	}
	// Without the sentences there are days and bins alone.
	for _, e := range parsed(t, ahead.Calendar(a, dates, false, nil)) {
		if said := value(e, ics.ComponentPropertyDescription); said != "" {
			t.Errorf("it says %q", said)
		}
	}
}

// After the watering was done the next is the same event on another day, and what comes no
// more is called off, once: nothing is there twice.
func TestCalendarAfterChanges(t *testing.T) {
	b := full()
	first := ahead.Calendar(ahead.Look(b, now.Add(30*day)), dates, true, nil)
	b.View.At = now.Add(3 * day)
	r := &b.View.Bins[0].Zones[0].Rhythms[0]
	r.Next, r.Early, r.Late = now.Add(9*day), now.Add(8*day), now.Add(10*day)
	b.View.Bins[0].Zones[1].UnsiftedL = 0 // it was sifted
	second := ahead.Calendar(ahead.Look(b, now.Add(30*day)), dates, true, first)
	third := ahead.Calendar(ahead.Look(b, now.Add(30*day)), dates, true, second)
	before, after, last := parsed(t, first), parsed(t, second), parsed(t, third)
	var moved, off int
	for uid, was := range before {
		is := after[uid]
		if is == nil {
			t.Errorf("%s is neither there nor called off", uid)
			continue
		}
		if number(t, is) <= number(t, was) {
			t.Errorf("%s: SEQUENCE %d after %d", uid, number(t, is), number(t, was))
		}
		a, _ := was.GetAllDayStartAt()
		b, _ := is.GetAllDayStartAt()
		if cancelled := value(is, ics.ComponentPropertyStatus) == "CANCELLED"; cancelled {
			if off++; last[uid] != nil {
				t.Errorf("%s is called off twice", uid)
			}
		} else if strings.Contains(uid, "water") && !a.Equal(b) {
			moved++
		}
	}
	if moved == 0 || off == 0 {
		t.Errorf("%d moved and %d called off: nothing was tried", moved, off)
	}
}

func number(t *testing.T, e *ics.VEvent) (n int) {
	t.Helper()
	if _, err := fmt.Sscan(value(e, ics.ComponentPropertySequence), &n); err != nil {
		t.Fatalf("SEQUENCE: %v", err)
	}
	return n
}
