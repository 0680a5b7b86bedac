package rules_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
)

// wrote notes at one time what was done at another.
func (w *watched) wrote(at, done time.Time, j farm.Jot) {
	j.At = done
	if j.Bin == "" {
		j.Bin = "bed"
	}
	w.step(farm.Event{Kind: farm.EventJot, Arrived: at, Jot: j})
}

// crateAt lets the crate live at the temperature of each hour, up to a time.
func (w *watched) crateAt(from, to time.Time, tempC func(since time.Duration) float64) {
	for at := from; at.Before(to); at = at.Add(30 * time.Minute) {
		w.say("crate", at, tempC(at.Sub(t0)))
	}
}

func always(tempC float64) func(time.Duration) float64 {
	return func(time.Duration) float64 { return tempC }
}

// sieved is what every case writes down.
var sieved = farm.Jot{Zone: "far", What: farm.Sifted, Litres: 8, To: "crate"}

// raisedOf is when hatching of a species was raised first; zero when it never was.
func (w *watched) raisedOf(species string) time.Time {
	for _, ch := range w.of(farm.Hatching) {
		if ch.Change == farm.Raised && strings.Contains(ch.Text, species) {
			return ch.At
		}
	}
	return time.Time{}
}

// Castings age from when they were sifted, by the temperatures since, whenever
// the line is written. Dendrobaena veneta: 71 days at 15 °C (Viljoen et al. 1992,
// as quoted by) and 42.1 days at 25 °C (Viljoen, Reinecke & Hartman 1991, S Afr
// J Zool 26:43–48); the line through both has its base at 0.4325 °C and 1034.3
// day-degrees. By hand: 10 days at 15 °C do 10·14.5675 = 145.7 of them, and the
// rest takes 888.6/24.5675 = 36.17 days at 25 °C: 46.17 in all; half of each day
// at either, 1034.3/((14.5675+24.5675)/2) = 52.86 days.
func TestCastingsAgeFromWhenTheyWereSifted(t *testing.T) {
	efforttest.Long(t)
	for _, tt := range []struct {
		name  string
		tempC func(time.Duration) float64
		days  float64
	}{
		{"15 °C", always(15), 71},
		{"25 °C", always(25), 42.1},
		{"ten days at 15 °C, then 25 °C", func(since time.Duration) float64 {
			if since < 10*day {
				return 15
			}
			return 25
		}, 46.17},
		{"half of each day at either", func(since time.Duration) float64 {
			if since%day < 12*time.Hour {
				return 15
			}
			return 25
		}, 52.86},
	} {
		for _, late := range []time.Duration{0, 26 * day} {
			t.Run(fmt.Sprintf("%s, written %s late", tt.name, late), func(t *testing.T) {
				f := sifter()
				f.Bins[0].Species = []farm.Share{{Species: "european", Fraction: 1}}
				w := watching(f)
				w.crateAt(t0, t0.Add(late+time.Hour), tt.tempC)
				w.wrote(t0.Add(late+time.Hour), t0.Add(time.Hour), sieved)
				w.crateAt(t0.Add(late+2*time.Hour), t0.Add(80*day), tt.tempC)
				got := w.raisedOf("European").Sub(t0.Add(time.Hour)).Hours() / 24
				if math.Abs(got-tt.days) > 0.3 {
					t.Errorf("due after %.2f days, want %.2f", got, tt.days)
				}
			})
		}
	}
}

// Food goes by the same: what was fed a week ago is not whole.
func TestFoodAgesFromWhenItWasGiven(t *testing.T) {
	left := func(late bool) float64 {
		w := watching(nursery(farm.Living, "red"))
		at := w.days(t0, 1, 20, 76)
		fed := farm.Jot{What: farm.Fed, Kg: 1, Of: "scraps"}
		if !late {
			w.wrote(at, at, fed)
		}
		at = w.days(at, 3, 12, 66)
		at = w.days(at, 4, 24, 76)
		if late {
			w.wrote(at, t0.Add(day), fed)
		}
		return w.state.Look(at).Bins[0].Zones[0].Food[0].LeftPart
	}
	now, then := left(false), left(true)
	if math.Abs(now-then) > 0.01 || then > 0.8 {
		t.Errorf("got %.3f left when written a week late, want as when written at once, %.3f", then, now)
	}
}

// Law: whenever a line is written before it matters, the due day is the same.
func TestWhenALineIsWrittenChangesNothing(t *testing.T) {
	efforttest.Long(t)
	for seed := range uint64(8) {
		r := rand.New(rand.NewPCG(seed, 20))
		base, swing := 14+8*r.Float64(), 8*r.Float64()
		tempC := func(since time.Duration) float64 {
			return base + swing*math.Sin(2*math.Pi*since.Hours()/24) + 2*math.Sin(since.Hours()/70)
		}
		late := time.Duration(r.IntN(17*24)) * time.Hour
		due := func(late time.Duration) time.Time {
			w := watching(sifter())
			live := func(from, to time.Time) {
				for at := from; at.Before(to); at = at.Add(time.Hour) {
					w.say("crate", at, tempC(at.Sub(t0)))
				}
			}
			done := t0.Add(3 * time.Hour)
			live(t0, done.Add(late))
			w.wrote(done.Add(late), done, sieved)
			live(done.Add(late+2*time.Hour), t0.Add(70*day))
			return w.raisedOf("red")
		}
		a, b := due(0), due(late)
		if a.IsZero() || a.Sub(b).Abs() > 6*time.Hour {
			t.Errorf("seed %d: due %s when written at once, %s when written %s late", seed, a, b, late)
		}
	}
}

// What was not measured is taken as the nearest that was, and said.
func TestATimeWithoutATemperatureIsSaid(t *testing.T) {
	t.Run("before the first reading", func(t *testing.T) {
		w := watching(sifter())
		w.crateAt(t0, t0.Add(2*time.Hour), always(20))
		w.wrote(t0.Add(2*time.Hour), t0.Add(-26*day), sieved)
		got := only(t, w.of(farm.Hatching)).Text
		if want := "For 4 weeks up to yesterday no temperature is known; 20 °C was taken."; !strings.Contains(got, "castings of 8 April") || !strings.Contains(got, want) {
			t.Errorf("got %q, want it to say %q", got, want)
		}
	})
	t.Run("written before anything was heard", func(t *testing.T) {
		w := watching(sifter())
		w.wrote(t0, t0.Add(-20*day), sieved)
		if got := w.of(farm.Hatching); len(got) != 0 {
			t.Fatalf("got %+v, want nothing yet", got)
		}
		w.crateAt(t0.Add(2*time.Hour), t0.Add(10*day), always(20))
		if d := w.raisedOf("red").Sub(t0); d < 4*day || d > 6*day {
			t.Errorf("due after %s, want five days, for twenty had passed", d)
		}
	})
	t.Run("while nobody watched", func(t *testing.T) {
		w := watching(sifter())
		w.crateAt(t0, t0.Add(2*time.Hour), always(20))
		w.wrote(t0.Add(2*time.Hour), t0.Add(2*time.Hour), sieved)
		back := t0.Add(23 * day)
		w.step(farm.Event{Kind: farm.EventStart, Arrived: back})
		w.crateAt(back, back.Add(4*day), always(20))
		got := w.of(farm.Hatching)
		if len(got) != 1 || got[0].At.Sub(t0) > 26*day || !strings.Contains(got[0].Text, "no temperature is known") {
			t.Errorf("got %+v, want the time without the daemon counted and said", got)
		}
	})
	t.Run("known for less than a day", func(t *testing.T) {
		w := watching(sifter())
		w.crateAt(t0, t0.Add(2*time.Hour), always(20))
		w.wrote(t0.Add(2*time.Hour), t0.Add(-6*time.Hour), sieved)
		w.crateAt(t0.Add(3*time.Hour), t0.Add(27*day), always(20))
		if got := only(t, w.of(farm.Hatching)).Text; strings.Contains(got, "no temperature") {
			t.Errorf("got %q, want no word of six hours", got)
		}
	})
}

// A room's thermometer speaks for a tub that has none.
func TestTheRoomSpeaksForATubWithoutAThermometer(t *testing.T) {
	f := sifter()
	f.Bins[1].Zones[0].Probes = nil
	f.Bins[1].Ambient = "crate"
	w := watching(f)
	w.crateAt(t0, t0.Add(20*day), always(20))
	w.wrote(t0.Add(20*day), t0, sieved)
	w.crateAt(t0.Add(20*day+time.Hour), t0.Add(30*day), always(20))
	if d := w.raisedOf("red").Sub(t0); d < 24*day || d > 26*day {
		t.Errorf("due after %s, want 25 days", d)
	}
}

// A probe that speaks less often than the keeper said, or less often than every
// hour, is known all the same: nothing is assumed.
func TestSlowProbesAreRememberedToo(t *testing.T) {
	for _, pace := range []time.Duration{time.Hour, 2 * time.Hour, 6 * time.Hour} {
		for _, uncertain := range []bool{false, true} {
			w := watching(sifter())
			live := func(from, to time.Time) {
				for at := from; at.Before(to); at = at.Add(pace) {
					w.step(farm.Event{Kind: farm.EventReading, Arrived: at, Reading: farm.Reading{Probe: "crate", At: at, Raw: 20, Value: 20, Uncertain: uncertain}})
				}
			}
			live(t0, t0.Add(20*day))
			w.wrote(t0.Add(20*day), t0.Add(time.Hour), sieved)
			live(t0.Add(20*day+2*time.Hour), t0.Add(30*day))
			got := w.of(farm.Hatching)
			if len(got) != 1 || strings.Contains(got[0].Text, "no temperature") || got[0].At.Sub(t0) < 24*day || got[0].At.Sub(t0) > 26*day {
				t.Errorf("every %s, uncertain %v: got %+v, want it due after 25 days, by what was measured", pace, uncertain, got)
			}
		}
	}
}

// Lines written late and out of order leave the books as if written in order.
func TestLateLinesOfOtherKinds(t *testing.T) {
	crate := func(w *watched, at time.Time) farm.ZoneView { return w.state.Look(at).Bins[1].Zones[0] }
	t.Run("lifted before the sifting was written", func(t *testing.T) {
		w := watching(sifter())
		w.crateAt(t0, t0.Add(40*day), always(20))
		w.wrote(t0.Add(40*day), t0.Add(30*day), farm.Jot{Bin: "crate", What: farm.Lifted})
		w.wrote(t0.Add(40*day), t0, sieved)
		if got := w.raisedOf("red"); !got.IsZero() {
			t.Errorf("got it raised at %s, want red worms lifted already", got)
		}
	})
	t.Run("lifted before they were due", func(t *testing.T) {
		w := watching(sifter())
		w.wrote(t0, t0, sieved)
		w.crateAt(t0, t0.Add(30*day), always(20))
		w.wrote(t0.Add(30*day), t0.Add(10*day), farm.Jot{Bin: "crate", What: farm.Lifted})
		if w.standing(t0.Add(30*day), farm.Hatching) == nil {
			t.Error("worms that hatched later count as lifted")
		}
	})
	t.Run("emptied between two siftings", func(t *testing.T) {
		w := watching(sifter())
		w.crateAt(t0, t0.Add(10*day), always(20))
		w.wrote(t0.Add(9*day), t0.Add(8*day), sieved)
		w.wrote(t0.Add(9*day), t0.Add(5*day), farm.Jot{Bin: "crate", What: farm.Emptied})
		w.wrote(t0.Add(10*day), t0.Add(day), sieved)
		if got := crate(w, t0.Add(10*day)).StoredL; got != 8 {
			t.Errorf("got %v L, want the 8 L that came in since it was emptied", got)
		}
	})
	t.Run("hatched long ago", func(t *testing.T) {
		w := watching(sifter())
		w.crateAt(t0, t0.Add(day), always(20))
		w.wrote(t0.Add(day), t0.Add(-300*day), sieved)
		if got := w.of(farm.Hatching); len(got) != 0 {
			t.Errorf("got %+v, want nothing of what hatched months ago", got)
		}
	})
	t.Run("finished a week ago", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		at := w.days(t0, 1, 24, 76)
		w.wrote(at, at, farm.Jot{What: farm.Fed, Kg: 1, Of: "mash"})
		at = w.days(at.Add(time.Minute), 4, 24, 76)
		w.wrote(at, at, farm.Jot{What: farm.Fed, Kg: 1, Of: "scraps"})
		at = w.days(at.Add(time.Minute), 2, 24, 76)
		w.wrote(at, at.Add(-3*day), farm.Jot{What: farm.Finished})
		food := w.state.Look(at).Bins[0].Zones[0].Food
		if len(food) != 1 || food[0].Of != "scraps" {
			t.Errorf("got %+v, want the mash gone and the scraps, fed later, kept", food)
		}
	})
	t.Run("fed before the last feeding", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		at := w.days(t0, 4, 24, 76)
		w.wrote(at, at, farm.Jot{What: farm.Fed, Kg: 2, Of: "grain"})
		w.wrote(at, at.Add(-3*day), farm.Jot{What: farm.Fed, Kg: 1, Of: "mash"})
		food := w.state.Look(at).Bins[0].Zones[0].Food
		if len(food) != 2 || food[0].Of != "mash" || food[0].LeftPart > 0.7 || food[1].LeftPart < 0.99 {
			t.Errorf("got %+v, want the mash first and part of it eaten", food)
		}
	})
	t.Run("it stops no clock and clears no level", func(t *testing.T) {
		w := watching(nursery(farm.Living, "red"))
		w.hold("m", t0, t0.Add(8*time.Hour+20*time.Minute), 80)
		w.hold("t", t0.Add(8*time.Hour), t0.Add(8*time.Hour+20*time.Minute), 33)
		at := t0.Add(8*time.Hour + 20*time.Minute)
		w.wrote(at, at.Add(-3*day), farm.Jot{What: farm.Turned})
		w.say("m", at.Add(time.Minute), 60)
		if got := w.state.Look(at.Add(time.Minute)).Bins[0].Zones[0]; got.Level(farm.Moisture).Value != 80 || got.LidOff != nil {
			t.Errorf("got %+v, lid off until %v: want the level of the last hours and no lid off", got.Level(farm.Moisture), got.LidOff)
		}
		w.hold("t", at, at.Add(20*time.Minute), 33)
		if got := w.of(farm.TooHot); len(got) != 1 || got[0].At.Sub(t0.Add(8*time.Hour)) > 40*time.Minute {
			t.Errorf("got %+v, want patience to run on", briefs(got))
		}
	})
}

// A clock that is put right takes the past along.
func TestThePastMovesWithTheClock(t *testing.T) {
	for _, shift := range []time.Duration{-40 * day, 40 * day} {
		w := watching(sifter())
		w.crateAt(t0, t0.Add(20*day), always(20))
		now := t0.Add(20*day + shift)
		w.step(farm.Event{Kind: farm.EventClock, Arrived: now, Shift: shift})
		w.crateAt(now, now.Add(2*time.Hour), always(10))
		w.wrote(now.Add(2*time.Hour), t0.Add(shift).Add(time.Hour), sieved)
		w.crateAt(now.Add(3*time.Hour), now.Add(10*day), always(20))
		got := w.of(farm.Hatching)
		if len(got) != 1 || strings.Contains(got[0].Text, "no temperature") {
			t.Errorf("shift %s: got %+v, want the due day by what was measured", shift, got)
		} else if d := got[0].At.Sub(t0.Add(shift)); d < 24*day || d > 26*day {
			t.Errorf("shift %s: due after %s, want 25 days", shift, d)
		}
	}
}
