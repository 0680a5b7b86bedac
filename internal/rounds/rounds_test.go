package rounds_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
	"binwatchd/internal/rounds"
)

var noon = time.Date(2026, 11, 28, 12, 0, 0, 0, time.UTC)

// view is a farm of one bed with one condition raised.
func view(st farm.Standing) farm.View {
	st.Bin, st.Zone, st.Episode, st.Urgency = "bed", "far", "e1", farm.Today
	return farm.View{
		Farm: "Hillfoot Nursery", Units: farm.Metric, At: noon, Standing: []farm.Standing{st},
		Bins: []farm.BinView{{Name: "bed", Zones: []farm.ZoneView{{Bin: "bed", Zone: "near"}, {Bin: "bed", Zone: "far"}}}},
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
			got := rounds.List(view(tt.st), time.UTC).Care
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
