package rules_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
)

// Between two refits a reading that changes nothing allocates nothing.
func TestTheQuietPathAllocatesNothing(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	at := w.days(t0, 2, 20, 77)
	at = at.Truncate(time.Hour).Add(2 * time.Hour)
	w.say("t", at, 20) // the refit of this hour is done
	e := farm.Event{Kind: farm.EventReading, Reading: farm.Reading{Probe: "t", Raw: 20, Value: 20}}
	got := testing.AllocsPerRun(50, func() {
		at = at.Add(time.Minute)
		e.Arrived, e.Reading.At = at, at
		if ch := w.state.Step(e); ch != nil {
			t.Fatalf("got %+v, want a quiet path", ch)
		}
	})
	if got != 0 {
		t.Errorf("got %v allocations a reading, want none", got)
	}
}

// A window that closes slowly is told once, not with every refit anew.
func TestAClosingWindowDoesNotFlap(t *testing.T) {
	efforttest.Long(t)
	for seed := range uint64(6) {
		w := watching(sifter())
		noise := rand.New(rand.NewPCG(seed, 7))
		for h := 0.0; h < 30*24; h += 1.0 / 3 {
			pct := 52 - 0.6*h/24 + 0.8*math.Sin(2*math.Pi*h/24) + 0.3*noise.NormFloat64()
			w.say("far", t0.Add(time.Duration(h*float64(time.Hour))), pct)
		}
		raised := 0
		for _, ch := range w.of(farm.SiftPassing) {
			if ch.Change == farm.Raised {
				raised++
			}
		}
		if raised != 1 {
			t.Errorf("seed %d: told %d times that the window closes, want once", seed, raised)
		}
	}
}

func TestTwoCansOfWaterAreOneWatering(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	const dry = 15.0
	at, pct := t0, 72.0
	for range 4 {
		at = w.days(at, 2, 20, pct)
		w.jot(at, farm.Jot{What: farm.Watered, Litres: 2})
		w.jot(at.Add(time.Hour), farm.Jot{What: farm.Watered, Litres: 2})
		ratio := pct/(100-pct) + 4/dry
		at = w.days(at.Add(3*time.Hour), 2, 20, 100*ratio/(1+ratio))
		w.jot(at, farm.Jot{What: farm.Turned})
		at = at.Add(2 * time.Hour)
	}
	w.days(at, 1, 20, 68)
	got := w.state.Look(at.Add(day)).Bins[0].Zones[0].Water
	if got == nil || got.DryMassFrom != "learned" || math.Abs(got.DryMassKg-dry) > 2 {
		t.Errorf("got %+v, want about %v kg learned", got, dry)
	}
}

func TestEachSpeciesHatchesInItsTime(t *testing.T) {
	w := watching(sifter())
	w.say("crate", t0, 20)
	w.jot(t0.Add(time.Minute), farm.Jot{Zone: "far", What: farm.Sifted, Litres: 8, To: "crate"})
	lifted := false
	for at := t0.Add(time.Hour); at.Before(t0.Add(60 * day)); at = at.Add(20 * time.Minute) {
		w.say("crate", at, 20)
		if !lifted && at.After(t0.Add(30*day)) {
			w.jot(at, farm.Jot{Bin: "crate", What: farm.Lifted})
			lifted = true
		}
	}
	var raised []farm.Change
	for _, ch := range w.of(farm.Hatching) {
		if ch.Change == farm.Raised {
			raised = append(raised, ch)
		}
	}
	if len(raised) != 2 || !strings.Contains(raised[0].Text, "red") || !strings.Contains(raised[1].Text, "European") {
		t.Errorf("got %+v, want red worms, then European ones", raised)
	}
}

func TestABareFedJotIsFollowedToo(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	at := w.days(t0, 1, 22, 76)
	w.jot(at, farm.Jot{What: farm.Fed})
	w.days(at.Add(time.Minute), 40, 22, 76)
	if got := w.of(farm.FeedDue); len(got) != 1 {
		t.Errorf("got %+v, want feed due once, at the pace of unknown food", briefs(got))
	}
}

func TestASmallerFeedSaysWhy(t *testing.T) {
	for _, tt := range []struct {
		name  string
		tempC float64
		pct   float64
		want  string
	}{
		{"cool", 12, 76, "It is cool"},
		{"warm", 31.5, 76, "too warm"},
		{"dry", 22, 62, "too dry"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := watching(nursery(farm.Living, "red"))
			at := w.days(t0, 1, tt.tempC, tt.pct)
			w.jot(at, farm.Jot{What: farm.Fed, Kg: 1, Of: "mash"})
			w.days(at.Add(time.Minute), 60, tt.tempC, tt.pct)
			if got := only(t, w.of(farm.FeedDue)).Text; !strings.Contains(got, tt.want) {
				t.Errorf("got %q, want it to say %q", got, tt.want)
			}
		})
	}
}

// What dries out of being too wet is not told to be watered.
func TestNoDryingWhileTooWet(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	for h := 0.0; h < 8*24; h += 1.0 / 3 {
		w.say("m", t0.Add(time.Duration(h*float64(time.Hour))), 91-0.8*h/24)
		for _, s := range w.state.Look(t0).Standing {
			if s.Condition == farm.Drying && len(w.of(farm.TooWet))%2 == 1 {
				t.Fatalf("drying stands beside too-wet: %s", s.Text)
			}
		}
	}
	if len(w.of(farm.TooWet)) == 0 {
		t.Fatal("it never was too wet; the test shows nothing")
	}
}

func TestSiftedFromABinMeansItsSiftingZone(t *testing.T) {
	w := watching(sifter())
	for h := range 48 {
		w.say("far", t0.Add(time.Duration(h)*time.Hour), 42)
	}
	if got := w.of(farm.SiftReady); len(got) != 1 {
		t.Fatalf("got %+v, want it ready", got)
	}
	w.jot(t0.Add(49*time.Hour), farm.Jot{Bin: "bed", What: farm.Sifted, Litres: 8, To: "crate"})
	if got := w.standing(t0.Add(49*time.Hour), farm.SiftReady); got == nil || !strings.Contains(got.Text, "About 8 of 100 litres sifted") {
		t.Errorf("got %+v, want it counted there", got)
	}
}

// What the keeper has seen stays seen through a reload that judges the past
// otherwise.
func TestSeenSurvivesAnotherLimit(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	w.say("b", t0, 3.2)
	raised := only(t, w.of(farm.BatteryLow))
	other := nursery(farm.Living, "red")
	other.Probes[2].Low = 3.0
	later := watching(other)
	later.say("b", t0, 3.2)
	later.step(farm.Event{Kind: farm.EventSeen, Arrived: t0.Add(time.Minute), Seen: farm.Seen{Episode: raised.Episode}})
	later.state.Reconcile([]farm.Change{raised})
	got := later.state.Look(t0.Add(time.Minute)).Standing
	if len(got) != 1 || !got[0].Seen {
		t.Errorf("got %+v, want the one condition, seen", got)
	}
}

// One reading without a true time does not outvote what is known.
func TestOneUncertainReadingDoesNotOutvoteSixHours(t *testing.T) {
	w := watching(nursery(farm.Living, "red"))
	w.hold("m", t0, t0.Add(6*time.Hour), 76)
	at := t0.Add(6 * time.Hour)
	w.step(farm.Event{Kind: farm.EventReading, Arrived: at, Reading: farm.Reading{Probe: "m", At: at, Value: 40, Uncertain: true}})
	if got := w.state.Look(at).Bins[0].Zones[0].Level(farm.Moisture).Value; got != 76 {
		t.Errorf("got level %v, want 76", got)
	}
}

func TestBoneDryGetsALittleWater(t *testing.T) {
	f := nursery(farm.Living, "red")
	f.Bins[0].Zones[0].DryMassKg = 10
	w := watching(f)
	w.hold("m", t0, t0.Add(2*time.Hour), 0)
	if got := only(t, w.of(farm.TooDry)).Advice; got.VisitLitres <= 0 || got.VisitLitres > got.WaterLitres/10 {
		t.Errorf("got %+v, want a little water for this visit", got)
	}
}
