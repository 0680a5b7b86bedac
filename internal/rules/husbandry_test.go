package rules_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
)

const day = 24 * time.Hour

// jot writes a line of the logbook.
func (w *watched) jot(at time.Time, j farm.Jot) {
	j.At = at
	if j.Bin == "" {
		j.Bin = "bed"
	}
	w.step(farm.Event{Kind: farm.EventJot, Arrived: at, Jot: j})
}

// days lets the bed live at a steady temperature and moisture.
func (w *watched) days(from time.Time, n int, tempC, pct float64) time.Time {
	to := from.Add(time.Duration(n) * day)
	for at := from; at.Before(to); at = at.Add(20 * time.Minute) {
		w.say("t", at, tempC)
		w.say("m", at.Add(time.Second), pct)
	}
	return to
}

// Common practice, no source: at 65 °F a monthly feed is not late, and whole
// grain fed then is still being eaten two months on.
func TestGrainLastsTwoMonthsAt65F(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	at := w.days(t0, 1, farm.CelsiusOf(65), 76)
	w.jot(at, farm.Jot{What: farm.Fed, Kg: 2, Of: "grain"})
	at = w.days(at.Add(time.Minute), 61, farm.CelsiusOf(65), 76)
	if got := w.of(farm.FeedDue); len(got) != 0 {
		t.Errorf("got %+v, want no feed due within two months", got)
	}
	food := w.state.Look(at).Bins[0].Zones[0].Food
	if len(food) != 1 || food[0].LeftPart <= 0 || food[0].LeftPart > 0.5 {
		t.Errorf("got %+v, want a little grain left after two months", food)
	}
}

func TestFeedIsDueWhenNearlyEatenAndNotBefore(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	at := w.days(t0, 1, 24, 76)
	w.jot(at, farm.Jot{What: farm.Fed, Kg: 1, Of: "scraps"})
	at = w.days(at.Add(time.Minute), 20, 24, 76)
	got := only(t, w.of(farm.FeedDue))
	if got.Urgency != farm.Soon || got.Change != farm.Raised {
		t.Errorf("got %+v, want it raised soon", got)
	}
	// Scraps last 14 days at full activity, and 24 °C is nearly that.
	if d := got.At.Sub(t0.Add(day)); d < 11*day || d > 14*day {
		t.Errorf("due after %s, want about 12 days", d)
	}
	if got.Advice.FeedKg != 1 || !strings.Contains(got.Advice.Do, "about 1 kg of scraps") || !strings.Contains(got.Advice.Do, "bedding") {
		t.Errorf("got advice %+v, want the usual kilogram with bedding", got.Advice)
	}
	w.jot(at, farm.Jot{What: farm.Fed, Kg: 1, Of: "scraps"})
	if got := w.of(farm.FeedDue); len(got) != 2 || got[1].Change != farm.Eased {
		t.Errorf("got %+v, want it eased by feeding", briefs(got))
	}
}

func TestInTheCoolASmallerFeed(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	at := w.days(t0, 1, 12, 76)
	w.jot(at, farm.Jot{What: farm.Fed, Kg: 1, Of: "mash"})
	w.days(at.Add(time.Minute), 40, 12, 76)
	got := only(t, w.of(farm.FeedDue))
	if got.Advice.FeedKg >= 0.8 || got.Advice.FeedKg <= 0.2 || !strings.Contains(got.Text, "cool") {
		t.Errorf("got %+v (%s), want clearly less than the usual kilogram, and why", got.Advice, got.Text)
	}
}

func TestFeedingWaitsWhilePastSurvive(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	at := w.days(t0, 1, 24, 76)
	w.jot(at, farm.Jot{What: farm.Fed, Kg: 1, Of: "mash"})
	at = w.days(at.Add(time.Minute), 5, 24, 76)
	at = w.days(at, 6, 33, 76)
	if got := w.of(farm.FeedDue); len(got) != 0 {
		t.Errorf("got %+v, want feeding held back in the heat", got)
	}
	w.days(at, 2, 24, 76)
	if got := w.of(farm.FeedDue); len(got) == 0 {
		t.Error("feeding stayed held back after the heat")
	}
}

func TestNothingJottedNothingDue(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	w.days(t0, 60, 24, 76)
	if got := w.of(farm.FeedDue); len(got) != 0 {
		t.Errorf("got %+v, want silence about food nobody told of", got)
	}
}

func TestFinishedTeachesThePace(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	at := w.days(t0, 1, 24, 76)
	for range 4 { // this bin eats scraps in a week
		w.jot(at, farm.Jot{What: farm.Fed, Kg: 1, Of: "scraps"})
		at = w.days(at.Add(time.Minute), 7, 24, 76)
		w.jot(at, farm.Jot{What: farm.Finished, Of: "scraps"})
		at = at.Add(time.Minute)
	}
	before := len(w.of(farm.FeedDue))
	w.jot(at, farm.Jot{What: farm.Fed, Kg: 1, Of: "scraps"})
	fed := at
	w.days(at.Add(time.Minute), 12, 24, 76)
	for _, ch := range w.of(farm.FeedDue)[before:] {
		if ch.Change == farm.Raised {
			if d := ch.At.Sub(fed); d > 9*day {
				t.Errorf("due after %s, want the learned pace of about a week", d)
			}
			return
		}
	}
	t.Error("feed was never due")
}

func TestDoseOfWater(t *testing.T) {
	f := nursery(farm.Living, "red")
	f.Bins[0].Zones[0].DryMassKg = 10
	w := watching(f)
	w.days(t0, 1, 20, 66)
	got := only(t, w.of(farm.TooDry)).Advice
	// W = D(wt − w): 10 kg dry from 66 % to the middle of 70..85 %.
	want := 10 * (77.5/22.5 - 66.0/34)
	if math.Abs(got.WaterLitres-want) > 0.01 {
		t.Errorf("got %.2f L, want %.2f L", got.WaterLitres, want)
	}
	held := 10 * 70.0 / 30 // at the dry end of the band
	if got.VisitLitres <= 0 || got.VisitLitres > held/10+0.001 {
		t.Errorf("got %.2f L this visit, want at most a tenth of the %.1f L it holds when it is only just moist", got.VisitLitres, held)
	}
	if got.DryMassFrom != "told" {
		t.Errorf("got a dry mass that is %q, want told", got.DryMassFrom)
	}
}

func TestDryMassIsLearnedFromWaterings(t *testing.T) {
	w := watching(nursery(farm.Living, "red")) // volume alone: a guess of 18 kg
	const dry = 12.0
	at, pct := t0, 72.0
	for range 4 {
		at = w.days(at, 2, 20, pct)
		w.jot(at, farm.Jot{What: farm.Watered, Litres: 3})
		ratio := pct/(100-pct) + 3/dry
		wet := 100 * ratio / (1 + ratio)
		at = w.days(at.Add(2*time.Hour), 2, 20, wet)
		// It dries again; the keeper turns it, so nothing is learned from that.
		w.jot(at, farm.Jot{What: farm.Turned})
		at = at.Add(2 * time.Hour)
	}
	w.days(at, 1, 20, 68)
	got := w.state.Look(at.Add(day)).Bins[0].Zones[0].Water
	if got == nil || got.DryMassFrom != "learned" || math.Abs(got.DryMassKg-dry) > 2.5 {
		t.Errorf("got %+v, want some %v kg learned, for all that 18 were guessed", got, dry)
	}
}

func TestTooWetGetsDryBedding(t *testing.T) {
	f := nursery(farm.Living, "red")
	f.Bins[0].Zones[0].DryMassKg = 10
	w := watching(f)
	w.days(t0, 1, 20, 88)
	got := only(t, w.of(farm.TooWet)).Advice
	// Mixture formula G = ΣQM/ΣQ (Cornell): 83.3 kg at 88 % with bedding at 10 % to 77.5 %.
	want := 10 / 0.12 * (88 - 77.5) / (77.5 - 10)
	if math.Abs(got.BeddingKg-want) > 0.01 {
		t.Errorf("got %.2f kg of bedding, want %.2f kg", got.BeddingKg, want)
	}
}

func TestWhileTheLidIsOffNothingIsJudged(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	at := w.days(t0, 1, 20, 76)
	w.jot(at, farm.Jot{What: farm.Turned})
	for i := range 5 { // the probe lies on the warm bench
		w.doubt("t", at.Add(time.Duration(1+10*i)*time.Minute), 33, farm.TooFast)
	}
	w.days(at.Add(time.Hour), 1, 20, 76)
	for _, c := range []farm.Condition{farm.TooHot, farm.Suspect} {
		if got := w.of(c); len(got) != 0 {
			t.Errorf("got %+v, want judging to hold still", got)
		}
	}
}

// sifter is a bed whose far end dries for sifting into a crate.
func sifter() *farm.Farm {
	f := nursery(farm.Living, "red", "european")
	f.Probes = append(f.Probes,
		farm.Probe{ID: "far", Measures: farm.Moisture, Unit: farm.Percent, Every: 10 * time.Minute},
		farm.Probe{ID: "crate", Measures: farm.Temperature, Unit: farm.Celsius, Every: 10 * time.Minute})
	f.Bins[0].Zones = append(f.Bins[0].Zones, zoneSpec("far", farm.Sifting, "far"))
	f.Bins = append(f.Bins, farm.Bin{Name: "crate", VolumeL: 60, Zones: []farm.Zone{zoneSpec("all", farm.Keeping, "crate")}})
	return f
}

func TestTheSiftingWindow(t *testing.T) {
	w := watching(sifter())
	at, pct := t0, 50.0
	for ; pct > 30; at = at.Add(20 * time.Minute) { // a point in eight hours
		w.say("far", at, pct)
		pct -= 1.0 / 24
	}
	ready, passing := w.of(farm.SiftReady), w.of(farm.SiftPassing)
	if len(ready) == 0 || ready[0].Urgency != farm.Today || ready[0].Zone != "far" {
		t.Fatalf("got %+v, want sift-ready today", ready)
	}
	if !strings.Contains(ready[0].Advice.Do, "a few pans at a time") || len(ready[0].Cautions) == 0 || !strings.Contains(ready[0].Cautions[0], "mask") {
		t.Errorf("got %+v, want the way to do it and the caution about dust", ready[0])
	}
	if len(passing) == 0 || !passing[0].At.After(ready[0].At) {
		t.Fatalf("got %+v, want sift-passing after sift-ready", passing)
	}
	w.jot(at, farm.Jot{Zone: "far", What: farm.Sifted, Litres: 8, To: "crate"})
	w.jot(at.Add(time.Minute), farm.Jot{Zone: "far", What: farm.Finished})
	for _, c := range []farm.Condition{farm.SiftReady, farm.SiftPassing} {
		got := w.of(c)
		if got[len(got)-1].Change != farm.Eased {
			t.Errorf("%s stands after the sifting is finished: %+v", c, got[len(got)-1])
		}
	}
	if got := w.state.Look(at).Bins[1].Zones[0].StoredL; got != 8 {
		t.Errorf("got %v L in the crate, want 8", got)
	}
	n := len(w.of(farm.SiftReady))
	for i := range 100 { // what is left in the probe's corner stays in the band
		w.say("far", at.Add(time.Duration(2+i)*time.Hour), 40)
	}
	if got := w.of(farm.SiftReady)[n:]; len(got) != 0 {
		t.Errorf("got %+v, want the next window to begin from above", got)
	}
}

// D. veneta 71 d at 15 °C: Viljoen et al. 1992; E. fetida 25 d at 20 °C:
// Add-my-Pet. At 20 °C the red ones are due first.
func TestCocoonsInTheCrateHatch(t *testing.T) {
	w := watching(sifter())
	w.say("crate", t0, 20)
	w.jot(t0.Add(time.Minute), farm.Jot{Zone: "far", What: farm.Sifted, Litres: 8, To: "crate"})
	for at := t0.Add(time.Hour); at.Before(t0.Add(40 * day)); at = at.Add(20 * time.Minute) {
		w.say("crate", at, 20)
	}
	got := w.of(farm.Hatching)
	if len(got) != 1 || got[0].Urgency != farm.Soon || got[0].Bin != "crate" {
		t.Fatalf("got %+v, want one hatching, soon", got)
	}
	if d := got[0].At.Sub(t0); d < 24*day || d > 26*day {
		t.Errorf("due after %s, want 25 days", d)
	}
	if !strings.Contains(got[0].Text, "red worms") || !strings.Contains(got[0].Advice.Do, "feed") {
		t.Errorf("got %q, %q, want to hear whose cocoons and what to do", got[0].Text, got[0].Advice.Do)
	}
	w.jot(t0.Add(41*day), farm.Jot{Bin: "crate", What: farm.Lifted})
	if got := w.of(farm.Hatching); len(got) != 2 || got[1].Change != farm.Eased {
		t.Errorf("got %+v, want it eased once worms are lifted out", briefs(got))
	}
}

// What a tub holds is what was told of it: what stood there, came in and was taken out. A
// tub of which nobody told is empty, however full it may be.
func TestWhatATubHolds(t *testing.T) {
	in := func(w *watched, tub string) float64 {
		for _, b := range w.state.Look(t0.Add(20 * day)).Bins {
			if b.Name == tub {
				return b.Zones[0].StoredL
			}
		}
		return -1
	}
	stored := func(w *watched) float64 { return in(w, "crate") }
	life := func(holds float64) *watched {
		f := sifter()
		for i := range f.Bins {
			if b := &f.Bins[i]; b.Name == "crate" {
				b.Zones[0].HoldsL = holds
			}
		}
		f.Bins = append(f.Bins, farm.Bin{Name: "tub", VolumeL: 50, Zones: []farm.Zone{zoneSpec("all", farm.Keeping)}})
		w := watching(f)
		w.say("far", t0, 40)
		return w
	}
	for _, holds := range []float64{0, 20} {
		w := life(holds)
		if got := stored(w); got != holds {
			t.Errorf("holds %g: %g at first", holds, got)
		}
		w.jot(t0, farm.Jot{Zone: "far", What: farm.Sifted, Litres: 8, To: "crate"})
		if got := stored(w); got != holds+8 {
			t.Errorf("holds %g: %g after 8 came in", holds, got)
		}
		w.jot(t0.Add(day), farm.Jot{Bin: "crate", What: farm.Emptied, Litres: 3})
		if got := stored(w); got != holds+5 {
			t.Errorf("holds %g: %g after 3 were taken out", holds, got)
		}
		w.jot(t0.Add(2*day), farm.Jot{Bin: "crate", What: farm.Emptied})
		if got := stored(w); got != 0 {
			t.Errorf("holds %g: %g once it was emptied", holds, got)
		}
	}
	w := life(20)
	w.jot(t0.Add(day), farm.Jot{Bin: "crate", What: farm.Holds, Litres: 12})
	w.jot(t0.Add(2*day), farm.Jot{Bin: "crate", What: farm.Used, Litres: 2})
	if got := stored(w); got != 10 {
		t.Errorf("%g after a stock-take of 12 and 2 used", got)
	}
	w.jot(t0.Add(3*day), farm.Jot{Bin: "bed", Zone: "far", What: farm.Holds, Litres: 5})
	if got := w.state.Look(t0.Add(20 * day)).Bins[0].Zones; !slices.ContainsFunc(got, func(z farm.ZoneView) bool { return z.UnsiftedL == 5 }) {
		t.Errorf("got %+v, want an end with 5 left", got)
	}
	w = life(20)
	w.jot(t0.Add(day), farm.Jot{Bin: "crate", What: farm.Sifted, Litres: 3, To: "tub"})
	w.jot(t0.Add(2*day), farm.Jot{Bin: "tub", What: farm.Stocked, Litres: 4, Of: farm.OfCastings})
	if crate, tub := stored(w), in(w, "tub"); crate != 17 || tub != 7 {
		t.Errorf("%g in the crate and %g in the tub after 3 of 20 went over and 4 came from elsewhere", crate, tub)
	}
	w = life(0)
	w.jot(t0.Add(day), farm.Jot{Bin: "crate", What: farm.Emptied, Litres: 3})
	if got := stored(w); got != 0 {
		t.Errorf("%g after 3 were taken out of what nobody told of", got)
	}
}

// A visit is what the logbook says of the last hours at a bin, each zone with what was
// done in it; by the next day it is over.
func TestTheVisitIsTheLastHoursOfTheLogbook(t *testing.T) {
	w := watching(sifter())
	w.say("far", t0, 40)
	at := func(when time.Time, bin string) (all []farm.Visit) {
		for _, b := range w.state.Look(when).Bins {
			for _, z := range b.Zones {
				if b.Name == bin && z.Visit != nil {
					all = append(all, *z.Visit)
				}
			}
		}
		return all
	}
	if got := at(t0, "crate"); got != nil {
		t.Errorf("got %v before anybody was there", got)
	}
	w.jot(t0.Add(time.Hour), farm.Jot{Bin: "crate", What: farm.Noted, Words: "lid is cracked"})
	w.jot(t0.Add(2*time.Hour), farm.Jot{Bin: "crate", What: farm.Watered, Litres: 1})
	want := []farm.Visit{{At: t0.Add(time.Hour), Did: []farm.JotKind{farm.Watered}}}
	if diff := cmp.Diff(want, at(t0.Add(10*time.Hour), "crate")); diff != "" {
		t.Errorf("visit (-want +got):\n%s", diff)
	}
	if got := at(t0.Add(day), "crate"); got != nil {
		t.Errorf("got %v a day later", got)
	}
}

// A condition that worsens to now breaks a hush wished for before; a later
// hush holds.
func TestWorseningBreaksAHush(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	w.hold("t", t0, t0.Add(2*time.Hour), 28)
	hush := func(at time.Time) {
		w.step(farm.Event{Kind: farm.EventHush, Arrived: at, Hush: farm.Hush{Bin: "bed", Until: at.Add(12 * time.Hour)}})
	}
	quiet := func(at time.Time) bool {
		for _, s := range w.state.Look(at).Standing {
			if s.Condition == farm.TooHot {
				return s.Hushed != nil
			}
		}
		t.Fatal("too-hot is not raised")
		return false
	}
	hush(t0.Add(2 * time.Hour))
	if !quiet(t0.Add(2 * time.Hour)) {
		t.Error("the hush does not hold")
	}
	w.hold("t", t0.Add(2*time.Hour), t0.Add(4*time.Hour), 33)
	if quiet(t0.Add(4 * time.Hour)) {
		t.Error("the hush holds though it has worsened to now")
	}
	hush(t0.Add(4 * time.Hour))
	if !quiet(t0.Add(4 * time.Hour)) {
		t.Error("a hush wished for since does not hold")
	}
	w.hold("t", t0.Add(4*time.Hour), t0.Add(18*time.Hour), 33)
	if quiet(t0.Add(18 * time.Hour)) {
		t.Error("the hush did not expire")
	}
}
