package ahead_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/ahead"
	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

const day = 24 * time.Hour

var now = time.Date(2026, 2, 1, 12, 0, 0, 0, time.UTC)

// hillfoot is a bed with a sifting end and a crate, 40 days before something is wanted.
func hillfoot() *farm.Farm {
	return &farm.Farm{
		Name: "Hillfoot Nursery", Units: farm.Metric, Location: time.UTC, Species: husbandry.Species(),
		Bins: []farm.Bin{
			{Name: "bed", Species: []farm.Share{{Species: "red", Fraction: 1}}, VolumeL: 160, Zones: []farm.Zone{
				{Name: "near", Aim: farm.Living, Share: 0.5}, {Name: "far", Aim: farm.Sifting, Share: 0.5}}},
			{Name: "crate", VolumeL: 60, Zones: []farm.Zone{{Name: "all", Aim: farm.Keeping, Share: 1}}},
		},
		Needs: []farm.Need{{CastingsL: 100, By: now.Add(70 * day)}},
	}
}

// book is how hillfoot stands: the bed at 25 °C, at which red worms are at full activity.
func book(f *farm.Farm, storedL, unsiftedL, moistPct float64, jots ...farm.Jot) *ahead.Book {
	level := func(v float64) *farm.LevelView {
		return &farm.LevelView{Value: v, At: now, Fresh: true, Bands: farm.Bands{Thrive: farm.Band{Low: 35, High: 45}, Survive: farm.Band{Low: 28, High: 75}}}
	}
	b := &ahead.Book{Farm: f, View: farm.View{At: now, Bins: []farm.BinView{
		{Name: "bed", Zones: []farm.ZoneView{
			{Bin: "bed", Zone: "near", Aim: farm.Living, Levels: farm.Levels{farm.Temperature: level(25)}},
			{Bin: "bed", Zone: "far", Aim: farm.Sifting, UnsiftedL: unsiftedL, Levels: farm.Levels{farm.Moisture: level(moistPct)}}}},
		{Name: "crate", Zones: []farm.ZoneView{{Bin: "crate", Zone: "all", Aim: farm.Keeping, StoredL: storedL}}},
	}}, Jots: map[string][]farm.Jot{}, Warm: map[farm.Place][]farm.Sample{}}
	for _, j := range jots {
		b.Jots[j.Bin] = append(b.Jots[j.Bin], j)
	}
	return b
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 0.01*math.Abs(want) {
		t.Errorf("%s: got %.3f, want %.3f", what, got, want)
	}
}

// Two full tubs and a full sifting end are castings, whatever was jotted: 60 L kept, and
// of 80 L that are dry enough 0.7 go through the screen. Worked by hand:
//
//	kept      60 × e^(−70 × 0.01/30)  = 58.616
//	screened  80 × 0.7                = 56.000
//	in all                             114.616
//	error     √((58.616×0.05)² + (56×0.23)²) = 13.208, × 1.2816 = 16.927
func TestWhatStandsCounts(t *testing.T) {
	got := ahead.Needs(book(hillfoot(), 60, 80, 40))
	if len(got) != 1 {
		t.Fatalf("got %d needs, want one", len(got))
	}
	n := got[0]
	near(t, "kept", n.StoredL, 60)
	near(t, "expected", n.ExpectedL, 114.616)
	near(t, "low", n.LowL, 114.616-16.927)
	near(t, "high", n.HighL, 114.616+16.927)
	// 100 − 58.616 = 41.384 L in ten weeks: 4.1 L a week.
	if want := "About 115 litres of castings by 12 April (100 to 130 litres), of 100 litres wanted: enough, if you sift about 4 litres a week from now."; n.Text != want {
		t.Errorf("got  %q\nwant %q", n.Text, want)
	}
}

// The first sifting counts, its time does not: 6 L at once are no pace, 6 L a week after
// it are. Worked by hand: 0.7 of the 80 L of the end goes through, 56 L. After the first 6
// of them 50 are to come; after 18 it is 38, of which a pace of 6 L in 14 days brings 30 in
// 70 days.
func TestThePaceBeginsWithTheFirstSifting(t *testing.T) {
	sift := func(ago float64, litres float64) farm.Jot {
		return farm.Jot{At: now.Add(-time.Duration(ago * float64(day))), Bin: "bed", Zone: "far", What: farm.Sifted, Litres: litres, To: "crate"}
	}
	one := ahead.Needs(book(hillfoot(), 6, 74, 40, sift(1, 6)))[0]
	near(t, "after the first", one.ExpectedL, 6*husbandry.Kept(70)+50)
	three := ahead.Needs(book(hillfoot(), 18, 62, 40, sift(14, 6), sift(7, 3), sift(1, 3)))[0]
	near(t, "at a pace of 6 L in 14 days", three.ExpectedL, 18*husbandry.Kept(70)+70*6.0/14)
	for _, tt := range []struct{ got, want string }{
		{one.Text, "About 55 litres of castings by 12 April (40 to 70 litres), of 100 litres wanted: about 45 litres short, and no more can be ready by then."},
		{three.Text, "About 50 litres of castings by 12 April (40 to 55 litres), of 100 litres wanted: sift 2 lots of about 3 litres a week from now, which gives about 8½ litres more and is not enough."},
	} {
		if tt.got != tt.want {
			t.Errorf("got  %q\nwant %q", tt.got, tt.want)
		}
	}
}

// What ripens is matter in, less what is lost: 2 kg of scraps every week for 20 weeks is
// 20 × 2 × 0.25 = 10 kg of dry matter. At full activity it is ripe after 45 to 135 days;
// 1.25 L of castings a kg. Worked by hand for a bed that is sifted as it stands, k weeks
// after each feeding (7k days; k from 1 to 20, 70 days later 7k+70):
//
//	Σ min(1, (7k+70−45)/90) for k = 1 … 20 = 16.5 (k ≥ 10: all; below: (7k+25)/90)
//	  k = 1 … 9: (7·45 + 9·25)/90 = 540/90 = 6.0; k = 10 … 20: 11      → 17.0
//	17 × 0.5 kg × 1.25 L/kg                                            = 10.625 L
//	fed on at 0.5 kg a week: the first of 70 days is then 70 days old, and
//	  Σ (a−45)/90 over the ages 45.5 … 69.5, a day apart = 25 × 12.5/90 = 3.472 days
//	  × 0.0667 kg a day × 1.25                                          = 0.289 L
//
// The pace of late: 13 feedings lie within 90 days (7 … 84, the 91st not): 12 × 0.5 kg
// in 84 days = 0.0714 kg a day → 0.310 L.
func TestRipeningByHand(t *testing.T) {
	f := hillfoot()
	f.Bins[0].Zones = f.Bins[0].Zones[:1]
	var jots []farm.Jot
	for k := 20; k >= 1; k-- {
		jots = append(jots, farm.Jot{At: now.Add(-time.Duration(7*k) * day), Bin: "bed", What: farm.Fed, Kg: 2, Of: "scraps"})
	}
	jots = append(jots, farm.Jot{At: now.Add(-time.Hour), Bin: "bed", What: farm.Sifted, Litres: 1e-9, To: "crate"})
	n := ahead.Needs(book(f, 0, 0, 40, jots...))[0]
	near(t, "expected", n.ExpectedL, 10.625+0.310)
	if !strings.Contains(n.Text, "short") {
		t.Errorf("got %q, want it to say that this is short", n.Text)
	}

	// Fed a fifth more from now on, only what goes in from now on grows by a fifth.
	b := book(f, 0, 0, 40, jots...)
	var err error
	if b.If, err = ahead.Suppose(f, "bed/near fed 20% more"); err != nil {
		t.Fatal(err)
	}
	near(t, "if fed 20 % more", ahead.Needs(b)[0].ExpectedL, 10.625+1.2*0.310)
}

// A farm that says when each zone was finished teaches what goes through its screen:
// three ends of 80 L gave 32 L each, 0.4 of them. By hand: the weight of one is
// (0.23/0.3)² = 0.5878; ln = (ln 0.7 + 3·0.5878·ln 0.4)/(1 + 1.7633) = −0.7138; 0.4898.
func TestTheScreenIsLearned(t *testing.T) {
	var jots []farm.Jot
	for k := 3; k >= 1; k-- {
		at := now.Add(-time.Duration(100*k) * day)
		jots = append(jots, farm.Jot{At: at, Bin: "bed", Zone: "far", What: farm.Sifted, Litres: 32},
			farm.Jot{At: at.Add(day), Bin: "bed", Zone: "far", What: farm.Finished})
	}
	n := ahead.Needs(book(hillfoot(), 0, 80, 40, jots...))[0]
	near(t, "expected", n.ExpectedL, 80*0.4898)
	near(t, "spread", n.HighL-n.LowL, 2*1.2816*80*0.4898*0.23/math.Sqrt(1+3*0.5878))
}

// What is asked that cannot be supposed is said, with an example.
func TestSuppositionsThatMeanNothing(t *testing.T) {
	for _, said := range []string{"", "bed", "bed fed", "bed fed more", "bed fed 20%", "bed fed -3% more", "bed fed 120% less", "bed watered 20% more", "shed fed 20% more", "fed 20% more", "bed fed NaN% more"} {
		if s, err := ahead.Suppose(hillfoot(), said); err == nil {
			t.Errorf("%q: got %+v, want an error", said, s)
		}
	}
	for said, want := range map[string]float64{"bed fed 20% more": 1.2, "bed/near fed 50 % less": 0.5, "Bed, near bedded 10% more": 1.1, "bed sifted 100% more": 2,
		"bed feed 20 percent more": 1.2, "bed fed twice as much": 2, "bed harvest half as much": 0.5, "bed near feed 5 per cent less": 0.95} {
		if s, err := ahead.Suppose(hillfoot(), said); err != nil || s.Factor != want {
			t.Errorf("%q: got %+v, %v, want %g", said, s, err, want)
		}
	}
}

// Who counts in pans is told pans: 41.384 L in ten weeks are 4.1 L a week, in pans of 2 qt
// (1.893 L) three. The end of 56 L is 30 of them.
func TestPansAreCounted(t *testing.T) {
	f := hillfoot()
	f.Vessels = []farm.Vessel{{Name: "pan", Holds: farm.Amount{Litres: 2 * 0.946352946}}}
	f.Needs = append(f.Needs, farm.Need{CastingsL: 20, By: now.Add(80 * day), For: "the plant sale"})
	if got := ahead.Needs(book(f, 60, 80, 40))[1].Text; !strings.Contains(got, "of 20 litres wanted for the plant sale: ") {
		t.Errorf("got %q", got)
	}
	if got := ahead.Needs(book(f, 60, 80, 40))[0].Text; !strings.HasSuffix(got, "wanted: enough, if you sift 3 pans a week from now.") {
		t.Errorf("got %q", got)
	}
	for litres, want := range map[float64]string{7: "sift a pan a week from now.", 20: "sift a pan every 4 weeks from now."} { // 0.59 and 0.21 of a pan a week
		f.Vessels[0].Holds.Litres = litres
		if got := ahead.Needs(book(f, 60, 80, 40))[0].Text; !strings.HasSuffix(got, want) {
			t.Errorf("pans of %g L: got %q", litres, got)
		}
	}
	f.Vessels[0].Holds.Litres = 2 * 0.946352946
	a := ahead.Look(book(f, 60, 80, 40), now.Add(30*day))
	if c := coming(a, farm.ComesSifting); len(c) != 1 || !strings.Contains(c[0].Text, "can be sifted now; 30 pans of what is left") {
		t.Errorf("got %+v", c)
	}
}
