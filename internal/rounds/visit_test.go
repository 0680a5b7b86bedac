package rounds_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/rounds"
)

// walk is a farm of four bins of one zone, in the order in which one walks; those of
// the given conditions, a bin each, are raised.
func walk(raised map[string]farm.Condition) farm.View {
	v := farm.View{Farm: "Hillfoot Nursery", Units: farm.Metric, At: noon, Intake: farm.IntakeView{Running: true, Connected: true}}
	for _, name := range []string{"bed", "crate", "stack", "trough"} {
		z := farm.ZoneView{Bin: name, Zone: "all", Levels: farm.Levels{farm.Moisture: {Value: 74, At: noon, Fresh: true}}}
		v.Bins = append(v.Bins, farm.BinView{Name: name, Zones: []farm.ZoneView{z}})
	}
	for _, name := range []string{"trough", "stack", "crate", "bed"} { // not in walking order
		if c := raised[name]; c != "" {
			v.Standing = append(v.Standing, farm.Standing{Bin: name, Zone: "all", Condition: c, Urgency: farm.Today, Episode: name, Advice: &farm.Advice{VisitLitres: 2, SiftLitres: 8, Do: "Do it."}})
		}
	}
	return v
}

var utc = farm.Dates{Location: time.UTC}

// The list goes from bin to bin as one walks; what can't wait is named above it.
func TestTheListIsInWalkingOrder(t *testing.T) {
	v := walk(map[string]farm.Condition{"trough": farm.TooDry, "bed": farm.TooDry, "stack": farm.TooHot})
	v.Standing[0].Urgency = farm.Now // the trough, the last
	got := rounds.List(v, utc)
	var bins []string
	for _, c := range got.Care {
		bins = append(bins, c.Bin)
	}
	if want := []string{"bed", "stack", "trough"}; !slices.Equal(bins, want) {
		t.Errorf("got %q, want %q", bins, want)
	}
	if want := "Three bins need you, one of them at once: trough."; got.Opening != want {
		t.Errorf("got %q, want %q", got.Opening, want)
	}
}

// What is carried is for the whole walk, each tool once.
func TestWhatIsCarriedInAll(t *testing.T) {
	got := rounds.List(walk(map[string]farm.Condition{"bed": farm.SiftReady, "crate": farm.SiftReady, "stack": farm.TooHot, "trough": farm.TooDry}), utc).Bring
	if want := []string{"about 2 litres of water", "pans for about 16 litres of castings", "a fork", "a screen", "a mask"}; !slices.Equal(slices.Sorted(slices.Values(got)), slices.Sorted(slices.Values(want))) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// A bin where all is well has one line; one that is not known to be well has none.
func TestABinWhereAllIsWellIsOneLine(t *testing.T) {
	later := noon.Add(time.Hour)
	v := walk(map[string]farm.Condition{"bed": farm.TooDry, "stack": farm.TooHot})
	v.Standing[0].Hushed = &later // the stack
	v.Bins[3].Zones[0].Level(farm.Moisture).Fresh = false
	got := rounds.List(v, utc)
	if len(got.Well) != 1 || !strings.HasPrefix(got.Well[0], "Crate: 74") {
		t.Errorf("got %q, want the crate alone", got.Well)
	}
	if text := rounds.Text(got, utc); !strings.Contains(text, "All is well\n  Crate: 74") {
		t.Errorf("the note does not say it:\n%s", text)
	}
	if v.Intake.Unwritten = &later; len(rounds.List(v, utc).Well) != 0 {
		t.Error("all is well while nothing is judged")
	}
}

// Once somebody was there, one line says what was not done.
func TestOneLineSaysWhatWasNotDone(t *testing.T) {
	v := walk(map[string]farm.Condition{"bed": farm.TooDry, "crate": farm.SiftReady, "stack": farm.TooHot})
	if got := rounds.List(v, utc).Left; got != "" {
		t.Errorf("got %q before anybody was there", got)
	}
	v.Bins[1].Zones[0].Visit = &farm.Visit{At: noon.Add(-time.Hour), Did: []farm.JotKind{farm.Sifted}}
	got := rounds.List(v, utc)
	if want := "Not done on this visit: Bed (water); Stack (turning)."; got.Left != want {
		t.Errorf("got %q, want %q", got.Left, want)
	}
	if !strings.Contains(rounds.Text(got, utc), "\n"+got.Left+"\n") {
		t.Error("the note does not say it")
	}
	for i := range v.Bins {
		v.Bins[i].Zones[0].Visit = &farm.Visit{At: noon, Did: []farm.JotKind{farm.Watered, farm.Turned, farm.Sifted}}
	}
	if got := rounds.List(v, utc).Left; got != "" {
		t.Errorf("got %q after all was done", got)
	}
}
