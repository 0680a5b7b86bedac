package rounds_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
	"binwatchd/internal/rounds"
)

var noon = time.Date(2026, 11, 28, 12, 0, 0, 0, time.UTC)

// view is a farm of one bed with one condition raised.
func view(st farm.Standing) farm.View {
	heard := &farm.LevelView{Value: 60, At: noon, Fresh: true}
	st.Bin, st.Zone, st.Episode, st.Urgency = "bed", "far", "e1", farm.Today
	return farm.View{
		Farm: "Hillfoot Nursery", Units: farm.Metric, At: noon, Standing: []farm.Standing{st},
		Bins: []farm.BinView{{Name: "bed", Zones: []farm.ZoneView{{Bin: "bed", Zone: "near", Levels: farm.Levels{farm.Moisture: heard}}, {Bin: "bed", Zone: "far", Levels: farm.Levels{farm.Moisture: heard}}}}},
	}
}

// The line to write is filled in with what the keeper does each time.
func TestTheLineToWriteIsFilledIn(t *testing.T) {
	for _, tt := range []struct {
		name  string
		st    farm.Standing
		want  farm.Jot
		ended bool
	}{
		{"sifting", farm.Standing{Condition: farm.SiftReady, Advice: &farm.Advice{SiftLitres: 8, SiftTo: "crate"}},
			farm.Jot{What: farm.Sifted, Litres: 8, To: "crate"}, true},
		{"sifting, the window closing", farm.Standing{Condition: farm.SiftPassing, Advice: &farm.Advice{SiftTo: "crate"}},
			farm.Jot{What: farm.Sifted, To: "crate"}, true},
		{"feeding", farm.Standing{Condition: farm.FeedDue, Advice: &farm.Advice{FeedKg: 2, FeedOf: "grain"}},
			farm.Jot{What: farm.Fed, Kg: 2, Of: "grain"}, false},
		{"watering", farm.Standing{Condition: farm.TooDry, Advice: &farm.Advice{WaterLitres: 5, VisitLitres: 2}},
			farm.Jot{What: farm.Watered, Litres: 2}, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := rounds.List(view(tt.st), farm.Dates{Location: time.UTC}).Care
			if len(got) != 1 || got[0].Jot == nil {
				t.Fatalf("got %+v, want one line with its jot", got)
			}
			tt.want.Bin, tt.want.Zone = "bed", "far"
			if diff := cmp.Diff(tt.want, *got[0].Jot); diff != "" {
				t.Errorf("jot (-want +got):\n%s", diff)
			}
			if ended := got[0].Over != nil && got[0].Over.What == farm.Finished; ended != tt.ended {
				t.Errorf("a line that ends it: %v, want %v", ended, tt.ended)
			}
		})
	}
}

// Where something else comes first, nothing is brought or written for what is
// not to be done now; the line stays.
func TestWhereSomethingElseComesFirst(t *testing.T) {
	r := rounds.List(view(farm.Standing{Condition: farm.TooDry, Advice: &farm.Advice{First: true, Do: "No water now."}}), farm.Dates{Location: time.UTC})
	if len(r.Care) != 1 || r.Care[0].Do != "No water now." || r.Care[0].Jot != nil || len(r.Bring) != 0 {
		t.Errorf("got %+v, bring %q", r.Care, r.Bring)
	}
}

// What was done of late is not asked for again: water and bedding leave the
// list, what is hot stays on it without its line to write.
func TestWhatWasDoneIsNotAskedForAgain(t *testing.T) {
	later, before := noon.Add(20*time.Hour), noon.Add(-time.Hour)
	for _, tt := range []struct {
		name      string
		st        farm.Standing
		listed    bool
		offers    bool
		wantsLoad bool
	}{
		{"water", farm.Standing{Condition: farm.TooDry, Advice: &farm.Advice{WaterLitres: 3, Wait: &later, Do: "Given."}}, false, false, false},
		{"water for what dries", farm.Standing{Condition: farm.Drying, Advice: &farm.Advice{Wait: &later, Do: "Given."}}, false, false, false},
		{"bedding", farm.Standing{Condition: farm.TooWet, Advice: &farm.Advice{Wait: &later, Do: "Given."}}, false, false, false},
		{"turning", farm.Standing{Condition: farm.Heating, Advice: &farm.Advice{Wait: &later, Do: "Turned."}}, true, false, false},
		{"water long ago", farm.Standing{Condition: farm.TooDry, Advice: &farm.Advice{VisitLitres: 2, Wait: &before, Do: "Give."}}, true, true, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := rounds.List(view(tt.st), farm.Dates{Location: time.UTC})
			if listed := len(got.Care) == 1; listed != tt.listed || listed == (len(got.Done) == 1) {
				t.Fatalf("listed %v, done %v; want it listed: %v", got.Care, got.Done, tt.listed)
			}
			if !tt.listed && (got.Done[0] != "Bed, far: Given." || got.Opening != "Nothing more to do for now: what was given needs time to show.") {
				t.Errorf("got %q, %q", got.Opening, got.Done[0])
			}
			if !tt.listed && !strings.Contains(rounds.Text(got, farm.Dates{Location: time.UTC}), "Done already\n  Bed, far: Given.") {
				t.Errorf("the note does not say it:\n%s", rounds.Text(got, farm.Dates{Location: time.UTC}))
			}
			if tt.listed && (got.Care[0].Jot != nil) != tt.offers {
				t.Errorf("got the jot %+v, want one offered: %v", got.Care[0].Jot, tt.offers)
			}
			if load := len(got.Bring) > 0; load != tt.wantsLoad {
				t.Errorf("bring %v, want something: %v", got.Bring, tt.wantsLoad)
			}
		})
	}
}

// One condition of several quantities is kept quiet for each of them by name.
func TestWhatIsKeptQuietIsNamed(t *testing.T) {
	later := noon.Add(2 * time.Hour)
	v := view(farm.Standing{Condition: farm.PastLimit, Quantity: farm.CO2, Urgency: farm.Today, Hushed: &later})
	v.Standing = append(v.Standing, v.Standing[0], v.Standing[0])
	v.Standing[1].Quantity, v.Standing[2].Quantity, v.Standing[2].Condition = farm.Humidity, "", farm.TooHot
	got := rounds.List(v, farm.Dates{Location: time.UTC}).Hushed
	want := []string{"CO2 past its limit, kept quiet", "air humidity past its limit, kept quiet", ": too hot, kept quiet"}
	for i := range want {
		if len(got) != len(want) || !strings.Contains(got[i], want[i]) {
			t.Fatalf("got %q, want %q", got, want)
		}
	}
}

// The list goes from place to place under their names, and only where there is more than
// one; what the bins of a place suffer from together comes first. Of one place there is that
// place's alone, with what concerns the whole farm.
func TestPlaceByPlace(t *testing.T) {
	f := &farm.Farm{Units: farm.Metric, Location: time.UTC, Rooms: []farm.Room{{Name: "linden", Air: "linden-air"}, {Name: "cellar"}}}
	v := farm.View{Farm: "Hillfoot Nursery", Units: farm.Metric, At: noon}
	var ids []string
	for _, b := range []struct{ bin, room string }{{"cellar-1", "cellar"}, {"linden-1", "linden"}, {"linden-2", "linden"}, {"yard", ""}} {
		f.Bins = append(f.Bins, farm.Bin{Name: b.bin, Room: b.room, Zones: []farm.Zone{{Name: "all"}}})
		v.Bins = append(v.Bins, farm.BinView{Name: b.bin, Place: b.room, Zones: []farm.ZoneView{{Bin: b.bin, Zone: "all"}}})
		v.Standing = append(v.Standing, farm.Standing{Bin: b.bin, Zone: "all", Episode: b.bin, Condition: farm.TooCold, Urgency: farm.Now, Text: b.bin + " is too cold.", Advice: &farm.Advice{Do: "Cover it."}})
		ids = append(ids, b.bin)
	}
	v.Standing = append(v.Standing, farm.Standing{Probe: "linden-air", Condition: farm.Silent, Text: "Probe linden-air is silent."},
		farm.Standing{Condition: farm.Unforwarded, Text: "The database is away."})
	v.Causes = []farm.Shared{{Urgency: farm.Now, Title: "Linden: heating off?", Brief: "Air 4 °C; 2 bins in danger of cold", Do: "See to the heating.", Place: "linden", Episodes: ids[1:3]}}
	said := func(v farm.View) (lines []string) {
		for line := range strings.Lines(rounds.Text(rounds.List(v, f.Dates()), f.Dates())) {
			lines = append(lines, strings.TrimRight(line, "\n"))
		}
		return lines
	}
	wantOrder := func(lines []string, want ...string) {
		t.Helper()
		for _, w := range want {
			i := slices.IndexFunc(lines, func(l string) bool { return strings.TrimSpace(l) == w })
			if i < 0 {
				t.Fatalf("no %q in its order in\n%s", w, strings.Join(lines, "\n"))
			}
			lines = lines[i+1:]
		}
	}
	const do = "Now: Cover it."
	wantOrder(said(v), "Four bins need you, and at once.", "Now: Linden: heating off? Air 4 °C; 2 bins in danger of cold.", "See to the heating.",
		"CELLAR", "Cellar-1", do, "LINDEN", "Linden-1", do, "Linden-2", "Now: As for Linden-1.", "ELSEWHERE", "Yard", do, "Probes", "Probe linden-air is silent.", "The database is away.")
	linden := said(v.Within(f, "linden"))
	wantOrder(linden, "Two bins need you, and at once.", "Now: Linden: heating off? Air 4 °C; 2 bins in danger of cold.", "Linden-1", "Linden-2", "Probe linden-air is silent.", "The database is away.")
	if text := strings.Join(linden, "\n"); strings.Contains(text, "LINDEN") || strings.Contains(text, "ellar") {
		t.Errorf("of one place:\n%s", text)
	}
	if text := strings.Join(said(v.Within(f, "cellar-1")), "\n"); strings.Contains(text, "inden") || !strings.Contains(text, "One bin needs you, and at once.") {
		t.Errorf("of one bin:\n%s", text)
	}
}

// What is kept quiet is not asked for, and whoever does it all the same has its line.
func TestTheLineOfWhatIsKeptQuiet(t *testing.T) {
	later := noon.Add(time.Hour)
	v := view(farm.Standing{Condition: farm.TooDry, Urgency: farm.Today, Episode: "e1", Hushed: &later,
		Advice: &farm.Advice{VisitLitres: 2}})
	r := rounds.List(v, farm.Dates{Location: time.UTC})
	if len(r.Care) != 0 || len(r.Bring) != 0 || len(r.Quiet) != 1 || r.Quiet[0].Episode != "e1" || *r.Quiet[0].Jot != (farm.Jot{Bin: "bed", Zone: "far", What: farm.Watered, Litres: 2}) {
		t.Errorf("got care %+v, quiet %+v, to bring %q", r.Care, r.Quiet, r.Bring)
	}
}
