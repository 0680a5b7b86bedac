package rules_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// tray is one zone of a told dry mass in a farm that reads quarts.
func tray(dryKg float64) *farm.Farm {
	f := nursery(farm.Living, "red")
	f.Units = farm.US
	f.Bins[0].Zones[0].DryMassKg = dryKg
	return f
}

const (
	quart  = 0.946352946 // L
	lidOff = time.Hour
)

// water is the dose of the only zone at a moment.
func (w *watched) water(at time.Time) farm.Advice {
	if a := w.state.Look(at).Bins[0].Zones[0].Water; a != nil {
		return *a
	}
	return farm.Advice{}
}

// What was poured is not asked for again: not a minute later, not twelve, not
// the next morning.
func TestWaterGivenIsNotAskedForAgain(t *testing.T) {
	w := watching(tray(4))
	at := w.days(t0, 2, 20, 68).Add(4*time.Hour + 21*time.Minute) // 12:21
	w.say("m", at, 68)
	before := w.water(at)
	if before.VisitLitres <= 0 {
		t.Fatalf("got %+v, want a dose; the test shows nothing", before)
	}
	w.jot(at, farm.Jot{What: farm.Watered, Litres: 3 * quart})
	for _, after := range []time.Duration{time.Minute, 12 * time.Minute, 7 * time.Hour} {
		if after > lidOff {
			w.hold("m", at.Add(lidOff), at.Add(after), 68.5)
		}
		st := w.standing(at.Add(after), farm.TooDry)
		if st == nil {
			t.Fatal("too-dry does not stand; the test shows nothing")
		}
		if a := st.Advice; a.VisitLitres != 0 || a.Wait == nil || !strings.Contains(a.Do, "3 quarts given at 12:21; look again tomorrow") {
			t.Errorf("after %s the condition advises %+v, want what was given and no more", after, *a)
		}
		got := w.water(at.Add(after))
		if got.VisitLitres != 0 || math.Abs(got.WaterLitres-(before.WaterLitres-3*quart)) > 0.01 {
			t.Errorf("after %s got %.2f L of %.2f L in all, %.2f L this visit, want 3 quarts taken off and none now", after, got.WaterLitres, before.WaterLitres, got.VisitLitres)
		}
	}
	// Where it has become enough nobody is told to give more.
	enough := watching(tray(4))
	watered := enough.days(t0, 2, 20, 68)
	enough.jot(watered, farm.Jot{What: farm.Watered, Litres: 3 * quart})
	if got := enough.water(enough.days(watered.Add(8*time.Hour), 1, 20, 74)); !strings.Contains(got.Do, "look again tomorrow") {
		t.Errorf("got %+v of a bed that does well again, want no more than to look again", got)
	}
	// It spreads, the level rises, and what is still wanted goes by the level.
	at = w.days(at.Add(8*time.Hour), 1, 20, 70)
	if got := w.water(at); got.VisitLitres != 0 || !strings.Contains(got.Do, "the rest is due tomorrow") {
		t.Errorf("after a day got %+v, want the rest put off until two days are over", got)
	}
	at = w.days(at, 1, 20, 69.5)
	if got := w.water(at); got.VisitLitres <= 0 || got.GivenLitres != 0 {
		t.Errorf("after two days got %+v, want the rest offered", got)
	}
}

// Where water went that never showed is asked about.
func TestWaterThatNeverShows(t *testing.T) {
	w := watching(tray(4))
	at := w.days(t0, 2, 20, 66)
	w.jot(at, farm.Jot{What: farm.Watered, Litres: 3 * quart})
	at = w.days(at.Add(2*time.Hour), 1, 20, 66)
	got := w.standing(at, farm.TooDry)
	if got == nil || !strings.Contains(got.Advice.Do, "have not shown") || !strings.Contains(got.Advice.Do, "run through") || !strings.Contains(got.Advice.Do, "dry pocket") {
		t.Errorf("got %+v, want to hear that the water did not show", got)
	}
	at = w.days(at, 2, 20, 66)
	if got := w.water(at); got.VisitLitres <= 0 || !strings.Contains(got.Do, "have not shown") {
		t.Errorf("got %+v, want a dose again, and where the last one went still asked", got)
	}
}

// Whoever gives no more than was advised hears of it too, however little too dry
// the bed is, and nobody does whose bed rises by half of what it should.
func TestTheAdvisedVisitThatNeverShows(t *testing.T) {
	for _, tt := range []struct {
		level, rise float64 // % and points
		asked       bool
	}{
		{69.5, 0, true}, {69.5, -0.3, true}, {67, 0, true}, {64, 0, true},
		{69.5, 0.9, false}, {67, 1.1, false}, {64, 1.3, false},
	} {
		w := watching(tray(4))
		at := w.days(t0, 2, 20, tt.level)
		visit := w.water(at).VisitLitres
		if visit <= 0 {
			t.Fatal("no dose; the test shows nothing")
		}
		w.jot(at, farm.Jot{What: farm.Watered, Litres: visit})
		at = w.days(at.Add(2*time.Hour), 1, 20, tt.level+tt.rise)
		got := w.standing(at, farm.TooDry)
		if asked := got != nil && strings.Contains(got.Advice.Do, "not shown"); asked != tt.asked {
			t.Errorf("%.2f L at %g %%, and a rise of %g: asked %t, want %t (%+v)", visit, tt.level, tt.rise, asked, tt.asked, got)
		}
	}
}

// A probe that speaks every six hours tells of it too.
func TestWaterThatNeverShowsToASlowProbe(t *testing.T) {
	w := watching(tray(4))
	slow := func(from, to time.Time) {
		for at := from; at.Before(to); at = at.Add(6 * time.Hour) {
			w.say("m", at, 66)
		}
	}
	slow(t0, t0.Add(3*day))
	at := t0.Add(3 * day)
	w.jot(at, farm.Jot{What: farm.Watered, Litres: 3 * quart})
	slow(at.Add(2*time.Hour), at.Add(27*time.Hour))
	if got := w.standing(at.Add(26*time.Hour), farm.TooDry); got == nil || !strings.Contains(got.Advice.Do, "have not shown") {
		t.Errorf("got %+v, want to hear that the water did not show", got)
	}
}

func TestWaterGivenOtherwise(t *testing.T) {
	for _, tt := range []struct {
		name string
		jots []farm.Jot
		ago  time.Duration // when it was done, before it was written
		want string
		none bool // no dose this visit
	}{
		{"no amount", []farm.Jot{{}}, 0, "Water given at 08:00; look again tomorrow", true},
		{"twice", []farm.Jot{{Litres: quart}, {Litres: quart}}, 0, "2 quarts given at 08:00; look again tomorrow", true},
		{"one of them without an amount", []farm.Jot{{Litres: quart}, {}}, 0, "1 quart and more given at 08:00", true},
		{"far too much", []farm.Jot{{Litres: 40 * quart}}, 0, "see that it can drain", true},
		{"a pint", []farm.Jot{{Litres: quart / 2}}, 0, "1 pint given at 08:00", true},
		{"written the next morning", []farm.Jot{{Litres: 2 * quart}}, 14 * time.Hour, "2 quarts given yesterday at 18:00; look again today", true},
		{"written a week later", []farm.Jot{{Litres: 2 * quart}}, 7 * day, "begin with about", false},
		{"said of the bin", []farm.Jot{{Zone: "", Litres: 2 * quart}}, 0, "2 quarts given at 08:00", true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := watching(tray(4))
			at := w.days(t0, 8, 20, 66)
			for _, j := range tt.jots {
				j.What, j.Bin, j.At = farm.Watered, "bed", at.Add(-tt.ago)
				w.step(farm.Event{Kind: farm.EventJot, Arrived: at, Jot: j})
			}
			got := w.standing(at.Add(time.Minute), farm.TooDry)
			if got == nil || !strings.Contains(got.Advice.Do, tt.want) || (got.Advice.VisitLitres == 0) != tt.none {
				t.Errorf("got %+v, want it to say %q", got.Advice, tt.want)
			}
			if a := w.water(at.Add(time.Minute)); a.Do != got.Advice.Do || a.WaterLitres != got.Advice.WaterLitres || a.VisitLitres != got.Advice.VisitLitres {
				t.Errorf("the zone's dose %+v is not the condition's %+v", a, *got.Advice)
			}
		})
	}
}

// A drying zone that was watered is not told to be watered either.
func TestDryingIsNotAskedForWaterJustGiven(t *testing.T) {
	w := watching(tray(10))
	at, pct := t0, 78.0
	for ; w.standing(at, farm.Drying) == nil; at = at.Add(20 * time.Minute) {
		w.say("m", at, pct)
		pct -= 1.0 / 72
		if pct < 70 {
			t.Fatal("it was never told to be drying")
		}
	}
	w.jot(at, farm.Jot{What: farm.Watered, Litres: 2})
	if got := w.standing(at.Add(time.Minute), farm.Drying); got != nil && !strings.Contains(got.Advice.Do, "given at") {
		t.Errorf("got %+v, want it to know of the water", got.Advice)
	}
}

// What was foreseen to be too dry and is, is one matter: it goes over into too-dry at
// once, and begins again only when the band is left again.
func TestDryingGoesOverIntoTooDry(t *testing.T) {
	w := watching(tray(10))
	at := w.loses(t0, 78, 68.5, 0.03)
	drying, dry := w.of(farm.Drying), w.of(farm.TooDry)
	if len(drying) != 2 || len(dry) != 1 {
		t.Fatalf("got drying %v and too dry %v, want the one raised and ended, the other raised", briefs(drying), briefs(dry))
	}
	if end := drying[1]; end.Ended != farm.Came || !end.At.Equal(dry[0].At) || !strings.Contains(end.Text, "was drying out, and is too dry now") {
		t.Errorf("got %+v, want it to go over into what was raised at %s", end, dry[0].At)
	}
	at = w.days(at, 2, 20, 66)
	if w.standing(at, farm.TooDry) == nil || w.standing(at, farm.Drying) != nil || len(w.of(farm.Drying)) != 2 {
		t.Errorf("two days later got drying %v and too dry %v, want only the second to stand", briefs(w.of(farm.Drying)), briefs(w.of(farm.TooDry)))
	}
}

// Dry bedding counts two days, turning one.
func TestBeddingAndTurningCount(t *testing.T) {
	f := tray(10)
	w := watching(f)
	at := w.days(t0, 1, 34, 88)
	w.jot(at, farm.Jot{What: farm.Bedded, Kg: 2})
	w.jot(at, farm.Jot{What: farm.Turned})
	wet, hot := w.standing(at, farm.TooWet), w.standing(at, farm.TooHot)
	if wet == nil || wet.Advice.Wait == nil || !wet.Advice.Wait.Equal(at.Add(2*day)) || !strings.Contains(wet.Advice.Do, "4½ lb of dry bedding given at 08:00; look again on Thursday") {
		t.Errorf("got %+v, want the bedding to count for two days", wet)
	}
	if hot == nil || hot.Advice.Wait == nil || !hot.Advice.Wait.Equal(at.Add(day)) || !strings.Contains(hot.Advice.Do, "Turned at 08:00") || !strings.Contains(hot.Advice.Do, "cooler") {
		t.Errorf("got %+v, want the turning to count for a day, and what else there is to do", hot)
	}
	at = w.days(at.Add(2*time.Hour), 2, 34, 88)
	if wet := w.standing(at, farm.TooWet); wet == nil || wet.Advice.Wait != nil || wet.Advice.BeddingKg <= 0 {
		t.Errorf("after two days got %+v, want bedding asked for again", wet)
	}
}

// loses dries the bed at a steady rate, kg of water per kg dry and day, until
// it is at some moisture, and gives the end.
func (w *watched) loses(from time.Time, pct, to, perDay float64) time.Time {
	at, ratio := from, pct/(100-pct)
	for ; 100*ratio/(1+ratio) > to; at = at.Add(20 * time.Minute) {
		w.say("m", at, 100*ratio/(1+ratio))
		ratio -= perDay / 72
	}
	return at
}

// A visit covers what is lost until the next one, or the words say how often.
func TestADoseCoversWhatIsLostUntilTheNextVisit(t *testing.T) {
	for _, tt := range []struct {
		name   string
		perDay float64 // kg/kg
		often  string  // "" where a weekly visit does
	}{
		{"slowly", 0.02, ""},
		{"faster than a weekly visit can bring", 0.06, "every second day"},
		{"faster still", 0.2, "every day"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			const dry = 3.0
			w := watching(tray(dry))
			last := 0.0
			at, pct := t0, 80.0
			for _, to := range []float64{69, 66, 63} {
				at = w.loses(at, pct, to, tt.perDay)
				pct = to
				got := w.water(at)
				if lost := 7 * tt.perDay * dry; tt.often == "" && got.VisitLitres < lost-0.02 {
					t.Errorf("at %v %%: got %.2f L, want what a week loses, %.2f L", to, got.VisitLitres, lost)
				}
				if !strings.Contains(got.Do, tt.often) {
					t.Errorf("at %v %%: got %q, want it to say %q", to, got.Do, tt.often)
				}
				if got.VisitLitres < last {
					t.Errorf("at %v %%: got %.2f L, less than the %.2f L before it was so dry", to, got.VisitLitres, last)
				}
				last = got.VisitLitres
			}
		})
	}
}

// A keeper who comes by every second day is told what two days lose.
func TestTheVisitsOfTheLogbookAreThePace(t *testing.T) {
	every := func(days int) float64 {
		w := watching(tray(3))
		for i := range 5 {
			w.jot(t0.Add(time.Duration(i*days)*day), farm.Jot{What: farm.Fed, Kg: 1, Of: "grain"})
		}
		at := w.loses(t0.Add(time.Duration(5*days)*day), 78.5, 76.5, 0.06)
		return w.water(at).VisitLitres
	}
	if two, seven := every(2), every(7); two >= seven {
		t.Errorf("got %.2f L for every second day and %.2f L for every week, want less for the first", two, seven)
	}
}

// The drier, the more in all and the more at a visit, whatever the dose stands
// on and however fast it dries.
func TestDrierNeverMeansLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := nursery(rapid.SampledFrom([]farm.Aim{farm.Living, farm.Keeping}).Draw(t, "aim"), "red")
		f.Bins[0].Zones[0].DryMassKg = rapid.SampledFrom([]float64{0, 0.5, 3, 40}).Draw(t, "told")
		learned := rapid.Bool().Draw(t, "learned")
		wetter := rapid.Float64Range(10, 80).Draw(t, "wetter")
		drier := rapid.Float64Range(5, wetter).Draw(t, "drier")
		dose := func(pct float64) farm.Advice {
			w := watching(f)
			at := t0
			if learned {
				w.hold("m", at, at.Add(30*time.Hour), 40)
				at = at.Add(30 * time.Hour)
				for _, pct := range []float64{46, 51, 56} {
					w.jot(at, farm.Jot{What: farm.Watered, Litres: 3})
					w.hold("m", at.Add(2*time.Hour), at.Add(2*day), pct)
					at = at.Add(2 * day)
				}
				at = at.Add(3 * day)
			}
			w.hold("m", at, at.Add(8*time.Hour), pct)
			a := w.water(at.Add(8 * time.Hour))
			if learned && f.Bins[0].Zones[0].DryMassKg == 0 && a.DryMassFrom != husbandry.Learned && a.WaterLitres > 0 {
				t.Fatalf("got %+v, want a learned mass; the test shows nothing", a)
			}
			return a
		}
		a, b := dose(wetter), dose(drier)
		if b.WaterLitres < a.WaterLitres-1e-9 || b.VisitLitres < a.VisitLitres-1e-9 {
			t.Fatalf("at %.1f %% %.3f L in all, %.3f L a visit; at %.1f %% only %.3f L and %.3f L", wetter, a.WaterLitres, a.VisitLitres, drier, b.WaterLitres, b.VisitLitres)
		}
	})
}

// poured waters a bed of some dry mass three times, and holds it two days at what
// that makes of it each time; then it is too dry.
func (w *watched) poured(dryKg float64) (end time.Time) {
	at, ratio := w.days(t0, 2, 20, 66), 66.0/34
	for range 3 {
		w.jot(at, farm.Jot{What: farm.Watered, Litres: 0.3 * dryKg})
		ratio += 0.3
		at = w.days(at.Add(2*time.Hour), 2, 20, 100*ratio/(1+ratio))
	}
	return w.days(at, 3, 20, 66)
}

// A dose says how much it may be, and begins with less.
func TestADoseSaysItsRange(t *testing.T) {
	for _, tt := range []struct {
		units farm.Units
		want  string
	}{
		{farm.Metric, "It wants 9 to 14 litres in all; begin with 2½ this visit: sprinkle, loosen, wait, look again."},
		{farm.US, "It wants 2½ to 3½ gallons in all; begin with about 2½ quarts this visit: sprinkle, loosen, wait, look again."},
	} {
		f := tray(10)
		f.Units = tt.units
		w := watching(f)
		a := w.water(w.days(t0, 2, 20, 69.5))
		if a.Do != tt.want {
			t.Errorf("got %q, want %q", a.Do, tt.want)
		}
		if !(a.VisitLitres <= a.LitresLow && a.LitresLow < a.WaterLitres && a.WaterLitres < a.LitresHigh) {
			t.Errorf("got %+v, want it to begin with less than the low end", a)
		}
	}
	w := watching(tray(10))
	a := w.standing(w.days(t0, 1, 20, 88), farm.TooWet).Advice
	if want := "It wants"; !(0 < a.KgLow && a.KgLow < a.BeddingKg && a.BeddingKg < a.KgHigh) || !strings.Contains(a.Do, want) || !strings.Contains(a.Do, "begin with") {
		t.Errorf("got %+v, want a range of bedding and its low end to begin with", a)
	}
}

// What the keeper told is held against what waterings teach. Where the two differ it is
// said, and what may mislead the waterings; the dose reaches over both, and where what was told
// can hardly be true it goes by the waterings alone.
func TestAToldMassThatWateringsContradict(t *testing.T) {
	const dry = 18.0 // as the volume makes one guess
	dose := func(told float64) farm.Advice {
		w := watching(tray(told))
		return w.water(w.poured(dry))
	}
	right := dose(dry)
	for _, tt := range []struct {
		told float64
		says bool
		kg   float64 // that the dose reckons with
	}{
		{18, false, 18}, {16, false, 16}, {21, false, 21}, {1.6 * 18, true, 22.8}, {18 / 1.6, true, 14.2},
		{36, true, dry}, {18.0 / 2, true, dry}, {60, true, dry},
	} {
		a := dose(tt.told)
		if says := strings.Contains(a.Do, "leave out dry_mass. A probe that is badly calibrated"); says != tt.says || (a.DryMassTold > 0) != tt.says || (a.DryMassFrom == husbandry.Learned) != tt.says {
			t.Errorf("%g kg told of %g: got %+v", tt.told, dry, a)
		}
		if math.Abs(a.DryMassKg-tt.kg) > 1 || tt.says && a.DryMassTold != tt.told {
			t.Errorf("%g kg told of %g: got %+v, want the dose to reckon with %g kg", tt.told, dry, a, tt.kg)
		}
		if lower, higher := math.Min(tt.told, dry)/dry, math.Max(tt.told, dry)/dry; tt.says && math.Abs(tt.kg-dry) > 1 &&
			!(a.LitresLow < lower*right.WaterLitres && a.LitresHigh > higher*right.WaterLitres && a.VisitLitres <= a.LitresLow) {
			t.Errorf("%g kg told of %g: got %+v, want it to reach over what either asks for (%.1f L) and to begin low", tt.told, dry, a, right.WaterLitres)
		}
	}
}

// Of a bin whose volume nobody told, no size speaks.
func TestWateringsOfABinWithoutAVolume(t *testing.T) {
	f := tray(40)
	f.Bins[0].VolumeL = 0
	w := watching(f)
	if a := w.water(w.poured(18)); !strings.Contains(a.Do, " You told 90 lb of dry matter; its last 3 waterings speak of ") {
		t.Errorf("got %q", a.Do)
	}
}

// What a jot disturbed, or a can that nobody wrote down, teaches nothing.
func TestADisturbedWateringTeachesNothing(t *testing.T) {
	for _, tt := range []struct {
		name    string
		disturb func(w *watched, at time.Time)
		learns  bool
	}{
		{"nothing", func(*watched, time.Time) {}, true},
		{"turned the next day", func(w *watched, at time.Time) { w.jot(at.Add(26*time.Hour), farm.Jot{What: farm.Turned}) }, false},
	} {
		w := watching(nursery(farm.Living, "red"))
		at, ratio := w.days(t0, 2, 20, 66), 66.0/34
		for range 4 {
			w.jot(at, farm.Jot{What: farm.Watered, Litres: 4})
			ratio += 0.25
			pct := 100 * ratio / (1 + ratio)
			w.hold("m", at.Add(2*time.Hour), at.Add(26*time.Hour), pct)
			tt.disturb(w, at)
			w.hold("m", at.Add(28*time.Hour), at.Add(4*day), pct)
			at = at.Add(4 * day)
		}
		if a := w.water(w.days(at, 3, 20, 66)); (a.DryMassFrom == husbandry.Learned) != tt.learns {
			t.Errorf("%s: got %+v", tt.name, a)
		}
	}
}

// A hand that speaks against the probe holds a dose back until something was done or two days
// are over; one that agrees, or is off by no more than hands are, does not.
func TestAHandHoldsADoseBack(t *testing.T) {
	for _, tt := range []struct {
		name  string
		pct   float64
		what  farm.JotKind
		holds bool
	}{
		{"wet, beside a dry probe", 60, "feels wet", true},
		{"water in the bottom, beside a dry probe", 60, "leachate", true},
		{"right, beside a very dry probe", 50, "feels right", true},
		{"right, beside one that is a little dry", 68, "feels right", false},
		{"dry too", 60, "feels dry", false},
		{"dry, beside a wet probe", 90, "feels dry", true},
		{"wet too", 90, "feels wet", false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := watching(tray(4))
			condition := farm.TooDry
			if tt.pct > 80 {
				condition = farm.TooWet
			}
			at := w.days(t0, 2, 20, tt.pct)
			advice := func(at time.Time) farm.Advice {
				t.Helper()
				st := w.standing(at, condition)
				if st == nil || st.Advice == nil {
					t.Fatalf("%s does not stand", condition)
				}
				return *st.Advice
			}
			before := advice(at)
			if before.First || before.VisitLitres+before.BeddingKg <= 0 {
				t.Fatalf("got %+v before anybody felt it, want a dose", before)
			}
			w.jot(at, farm.Jot{What: tt.what})
			w.say("m", at.Add(2*lidOff), tt.pct)
			got := advice(at.Add(2 * lidOff))
			if got.First != tt.holds || (got.VisitLitres+got.BeddingKg > 0) == tt.holds || strings.Contains(got.Do, "feel right beside the probe") != tt.holds {
				t.Errorf("got %+v, want it held back: %v", got, tt.holds)
			}
			if got := advice(w.days(at.Add(2*lidOff), 3, 20, tt.pct)); got.First {
				t.Errorf("three days later got %+v", got)
			}
		})
	}
	w := watching(tray(4))
	at := w.days(t0, 2, 20, 60)
	w.jot(at, farm.Jot{What: "feels wet"})
	w.jot(at.Add(time.Hour), farm.Jot{What: farm.Watered, Litres: quart})
	if got := w.water(at.Add(2 * time.Hour)); got.First || !strings.Contains(got.Do, "given") {
		t.Errorf("after it was watered all the same got %+v", got)
	}
}
