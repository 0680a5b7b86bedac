package rules_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
)

// several is a bed of red worms whose only zone has these probes, beside the
// moisture probe "m" and a thermometer "air" in its room.
func several(q farm.Quantity, ids ...string) *farm.Farm {
	f := nursery(farm.Living, "red")
	zone := []string{"m"}
	if q == farm.Moisture {
		zone = []string{"t"}
	}
	for _, id := range ids {
		f.Probes = append(f.Probes, farm.Probe{ID: id, Measures: q, Every: 10 * time.Minute})
		zone = append(zone, id)
	}
	f.Probes = append(f.Probes, farm.Probe{ID: "air", Measures: farm.Temperature, Every: 10 * time.Minute})
	f.Bins[0].Ambient, f.Bins[0].Zones[0].Probes = "air", zone
	return f
}

// A heap heats in one place first: the probe there foretells it, though the
// middle of the zone's probes never comes near the limit.
func TestHeatIsForetoldByTheProbeThatHeats(t *testing.T) {
	for _, ids := range [][]string{{"near", "far"}, {"far", "near"}, {"far", "deep", "near"}} {
		t.Run(strings.Join(ids, " "), func(t *testing.T) {
			w := watching(several(farm.Temperature, ids...))
			fed := t0.Add(5 * day)
			for at := t0; at.Before(fed.Add(30 * time.Hour)); at = at.Add(10 * time.Minute) {
				if at.Equal(fed) {
					w.jot(at, farm.Jot{What: farm.Fed, Kg: 4, Of: "mash"})
				}
				wave := math.Sin(2 * math.Pi * at.Sub(t0).Hours() / 24)
				w.say("air", at, 18+2*wave)
				for _, id := range ids {
					v := 21 + 0.5*wave
					if h := at.Sub(fed).Hours(); id == "near" && h > 0 {
						v += 17 / (1 + math.Exp(-(h-14)/4)) // an S to 38 °C
					}
					w.say(id, at, v)
				}
			}
			got := w.of(farm.Heating)
			if len(got) == 0 {
				t.Fatal("no heating was told")
			}
			crossed := fed.Add(16 * time.Hour) // 21 + 17/(1+e^-0.5) = 31.6 °C
			if lead := crossed.Sub(got[0].At); lead < 4*time.Hour {
				t.Errorf("told %s before the crossing, want four hours or more", lead)
			}
			if !strings.Contains(got[0].Text, "near says ") {
				t.Errorf("text %q does not name the probe that heats", got[0].Text)
			}
		})
	}
}

// all says the same of each probe every ten minutes in [from, to).
func (w *watched) all(from, to time.Time, levels map[string]float64, ids ...string) {
	for at := from; at.Before(to); at = at.Add(10 * time.Minute) {
		for i, id := range ids {
			if v, speaks := levels[id]; speaks {
				w.say(id, at.Add(time.Duration(i)*time.Second), v)
			}
		}
	}
}

// Red worms thrive to 25 °C and survive to 32 °C (the species table names the
// sources). Each believed probe is judged: harm by the one that is worst off,
// thrive by the middle.
func TestTheWorstOffProbeDecidesHarm(t *testing.T) {
	for _, tt := range []struct {
		name   string
		levels map[string]float64
		cond   farm.Condition
		want   farm.Urgency
		say    string
	}{
		{"one end is lethal", map[string]float64{"near": 37.8, "far": 26}, farm.TooHot, farm.Now, "in one place: near 37.8 °C, far 26 °C"},
		{"the other end is lethal", map[string]float64{"near": 20, "far": 33}, farm.TooHot, farm.Now, "in one place: far 33 °C, near 20 °C"},
		{"both are", map[string]float64{"near": 37.8, "far": 34}, farm.TooHot, farm.Now, "at 35.9 °C (near 37.8 °C, far 34 °C)"},
		{"the mean is past thrive", map[string]float64{"near": 28, "far": 24}, farm.TooHot, farm.Today, "at 26 °C (near 28 °C, far 24 °C)"},
		{"the mean is not", map[string]float64{"near": 28, "far": 21}, farm.TooHot, farm.Calm, ""},
		{"one of three is past thrive", map[string]float64{"near": 31, "deep": 24, "far": 23}, farm.TooHot, farm.Calm, ""},
		{"one of three is lethal", map[string]float64{"near": 33, "deep": 24, "far": 23}, farm.TooHot, farm.Now, "near 33 °C, far 23 °C"},
		{"one end freezes", map[string]float64{"near": 3, "far": 16}, farm.TooCold, farm.Now, "near 3 °C, far 16 °C"},
		{"the mean is cold", map[string]float64{"near": 12, "far": 16}, farm.TooCold, farm.Soon, "at 14 °C (near 12 °C, far 16 °C)"},
		{"one of eight is lethal", map[string]float64{"a": 20, "b": 20, "c": 20, "d": 20, "e": 20, "f": 20, "g": 20, "near": 33},
			farm.TooHot, farm.Now, "near 33 °C, a 20 °C"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var ids []string
			for _, id := range []string{"a", "b", "c", "d", "e", "f", "g", "deep", "far", "near"} {
				if _, has := tt.levels[id]; has {
					ids = append(ids, id)
				}
			}
			w := watching(several(farm.Temperature, ids...))
			w.all(t0, t0.Add(2*time.Hour), tt.levels, ids...)
			got := w.of(tt.cond)
			if tt.want == farm.Calm || len(got) == 0 {
				if len(got) != 0 || tt.want != farm.Calm {
					t.Fatalf("got %+v, want %q", got, tt.want)
				}
				return
			}
			if last := got[len(got)-1]; last.Urgency != tt.want || !strings.Contains(last.Text, tt.say) {
				t.Errorf("got %s: %q, want %s and %q", last.Urgency, last.Text, tt.want, tt.say)
			}
		})
	}
}

// The same for moisture: red worms thrive at 70..85 % and survive 60..90 %.
func TestTheDriestAndTheWettestProbeDecideHarm(t *testing.T) {
	for _, tt := range []struct {
		name      string
		near, far float64
		cond      farm.Condition
		want      farm.Urgency
	}{
		{"one end is parched", 58, 80, farm.TooDry, farm.Now},
		{"the mean is dry", 62, 74, farm.TooDry, farm.Today},
		{"one end drowns", 91, 75, farm.TooWet, farm.Now},
		{"the mean is wet", 89, 83, farm.TooWet, farm.Today},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := watching(several(farm.Moisture, "near", "far"))
			w.all(t0, t0.Add(2*time.Hour), map[string]float64{"near": tt.near, "far": tt.far}, "near", "far")
			if got := only(t, w.of(tt.cond)); got.Urgency != tt.want || !strings.Contains(got.Text, "near ") || !strings.Contains(got.Text, "far ") {
				t.Errorf("got %s: %q, want %s and both ends", got.Urgency, got.Text, tt.want)
			}
		})
	}
}

// A probe that falls silent is told as that. It makes a bin neither better nor
// worse.
func TestAProbeThatComesOrGoesChangesNothing(t *testing.T) {
	both := map[string]float64{"near": 28, "far": 21}
	t.Run("the cool one goes", func(t *testing.T) {
		w := watching(several(farm.Temperature, "near", "far"))
		w.all(t0, t0.Add(6*time.Hour), both, "near", "far")
		w.hold("near", t0.Add(6*time.Hour), t0.Add(20*time.Hour), 28)
		if got := w.of(farm.TooHot); len(got) != 0 {
			t.Errorf("got %+v, want nothing: the bin is as it was", briefs(got))
		}
		w.hold("near", t0.Add(20*time.Hour), t0.Add(22*time.Hour), 33)
		if got := only(t, w.of(farm.TooHot)); got.Urgency != farm.Now {
			t.Errorf("got %s, want what is left to be judged: now", got.Urgency)
		}
	})
	t.Run("the lethal one goes, and comes back cool", func(t *testing.T) {
		w := watching(several(farm.Temperature, "near", "far"))
		w.all(t0, t0.Add(6*time.Hour), map[string]float64{"near": 37.8, "far": 26}, "near", "far")
		w.hold("far", t0.Add(6*time.Hour), t0.Add(20*time.Hour), 26)
		if got := only(t, w.of(farm.TooHot)); got.Urgency != farm.Now {
			t.Fatalf("got %+v, want it to stand", got)
		}
		w.all(t0.Add(20*time.Hour), t0.Add(33*time.Hour), map[string]float64{"near": 24, "far": 23}, "near", "far")
		got := w.of(farm.TooHot)
		if last := got[len(got)-1]; last.Change != farm.Eased || last.Peak == nil || *last.Peak != 37.8 {
			t.Errorf("got %+v, want it eased from 37.8 °C", last)
		}
	})
	t.Run("the lethal one stays away", func(t *testing.T) {
		w := watching(several(farm.Temperature, "near", "far"))
		w.all(t0, t0.Add(6*time.Hour), map[string]float64{"near": 37.8, "far": 22}, "near", "far")
		w.hold("far", t0.Add(6*time.Hour), t0.Add(50*time.Hour), 22)
		got := w.of(farm.TooHot)
		before, last := got[len(got)-2], got[len(got)-1]
		if lasted := before.At.Sub(t0.Add(6 * time.Hour)); before.Change != farm.Lightened || lasted < 24*time.Hour || lasted > 26*time.Hour {
			t.Errorf("got %s after %s, want the harm to stand for a day", before.Change, lasted)
		}
		if lasted := last.At.Sub(before.At); last.Change != farm.Eased || lasted < 11*time.Hour || lasted > 13*time.Hour {
			t.Errorf("got %s %s later, want it over once what is left was cool for half a day", last.Change, lasted)
		}
	})
	t.Run("one that is at odds with its twin is not missed", func(t *testing.T) {
		w := watching(several(farm.Temperature, "near", "far"))
		w.all(t0, t0.Add(6*time.Hour), map[string]float64{"near": 33, "far": 22}, "near", "far")
		for at := t0.Add(6 * time.Hour); at.Before(t0.Add(9 * time.Hour)); at = at.Add(10 * time.Minute) {
			w.doubt("near", at, 33, farm.TwinApart)
			w.say("far", at.Add(time.Second), 22)
		}
		if got := w.of(farm.TooHot); got[len(got)-1].Change != farm.Eased {
			t.Errorf("got %+v, want it eased", briefs(got))
		}
	})
	t.Run("a slow one and a fast one", func(t *testing.T) {
		f := several(farm.Temperature, "near", "far")
		for i := range f.Probes {
			if f.Probes[i].ID == "far" {
				f.Probes[i].Every = 6 * time.Hour
			}
		}
		w := watching(f)
		for at := t0; at.Before(t0.Add(3 * day)); at = at.Add(10 * time.Minute) {
			w.say("near", at, 28)
			if at.Sub(t0)%(6*time.Hour) == 0 {
				w.say("far", at.Add(time.Second), 21)
			}
		}
		w.jot(t0.Add(3*day), farm.Jot{What: farm.Turned})
		w.hold("near", t0.Add(3*day+10*time.Minute), t0.Add(3*day+5*time.Hour), 28)
		if got := w.of(farm.TooHot); len(got) != 0 {
			t.Errorf("got %+v, want nothing", briefs(got))
		}
	})
}

// Heat that only one probe knew of is not over because that probe falls silent.
func TestHeatingStandsWhileItsProbeIsSilent(t *testing.T) {
	w := watching(several(farm.Temperature, "near", "far"))
	fed, dead := t0.Add(5*day), t0.Add(5*day+12*time.Hour)
	for at := t0; at.Before(dead.Add(10 * time.Hour)); at = at.Add(10 * time.Minute) {
		h := at.Sub(fed).Hours()
		if h == 0 {
			w.jot(at, farm.Jot{What: farm.Fed, Kg: 4, Of: "mash"})
		}
		w.say("air", at, 18)
		w.say("far", at.Add(time.Second), 21)
		if at.Before(dead) {
			w.say("near", at.Add(2*time.Second), 21+17/(1+math.Exp(-(h-14)/4)))
		}
	}
	got := w.of(farm.Heating)
	if len(got) == 0 || got[0].At.After(dead) {
		t.Fatalf("got %+v, want heating before the probe falls silent; the test shows nothing", briefs(got))
	}
	if last := got[len(got)-1]; last.Change == farm.Eased {
		t.Errorf("eased %s after the probe fell silent", last.At.Sub(dead))
	}
}

// Device clocks differ, and one may pour out what it kept: patience runs on the
// zone's own time, which never falls.
func TestTwoClocksInOneZoneDoNotCutPatienceShort(t *testing.T) {
	w := watching(several(farm.Temperature, "near", "far"))
	stamped := func(id string, arrived, at time.Time, v float64) {
		w.step(farm.Event{Kind: farm.EventReading, Arrived: arrived, Reading: farm.Reading{Probe: id, At: at, Raw: v, Value: v, Stamped: true}})
	}
	hot := t0.Add(3 * time.Hour)
	for at := t0; at.Before(hot.Add(2 * time.Hour)); at = at.Add(10 * time.Minute) {
		v := 20.0
		if !at.Before(hot) {
			v = 28
		}
		stamped("near", at, at, v)
		stamped("far", at.Add(time.Second), at.Add(-3*time.Hour), v) // a clock three hours behind
	}
	got := only(t, w.of(farm.TooHot))
	if after := got.At.Sub(hot); after < 30*time.Minute || after > time.Hour {
		t.Errorf("raised after %s, want patience of half an hour and the median's lag", after)
	}
}

// Feeding waits while any part of the bin is past survive.
func TestFeedingWaitsForTheHottestPart(t *testing.T) {
	w := watching(several(farm.Temperature, "near", "far"))
	levels := map[string]float64{"near": 36, "far": 20}
	w.all(t0, t0.Add(time.Hour), levels, "near", "far")
	w.jot(t0.Add(time.Hour), farm.Jot{What: farm.Fed, Kg: 1, Of: "mash"})
	w.all(t0.Add(time.Hour+10*time.Minute), t0.Add(30*day), levels, "near", "far")
	if got := w.of(farm.FeedDue); len(got) != 0 {
		t.Errorf("got %+v, want feeding held back", briefs(got))
	}
}

// The reproduction of a keeper's mix: nineteen worms in twenty are slowed for
// days, and the twentieth is at its best.
func TestAFewBlueWormsDoNotSwitchOffTooHot(t *testing.T) {
	for _, tt := range []struct {
		name   string
		shares []farm.Share
		probe  string
		value  float64
		cond   farm.Condition
		want   farm.Urgency
		says   []string
	}{
		{"nearly all slowed", []farm.Share{{Species: "red", Fraction: .6}, {Species: "european", Fraction: .35}, {Species: "blue", Fraction: .05}},
			"t", 31.5, farm.TooHot, farm.Today, []string{"Red worms and European worms (95 %) are slowed; blue worms (5 %) are thriving."}},
		{"exactly three quarters slowed", []farm.Share{{Species: "red", Fraction: .75}, {Species: "blue", Fraction: .25}},
			"t", 30, farm.TooHot, farm.Soon, []string{"Red worms (75 %) are slowed; blue worms (25 %) are thriving."}},
		{"exactly half slowed", []farm.Share{{Species: "red", Fraction: .5}, {Species: "blue", Fraction: .5}}, "t", 30, farm.TooHot, farm.Calm, nil},
		{"over half resting", []farm.Share{{Species: "red", Fraction: .4}, {Species: "blue", Fraction: .6}},
			"t", 18, farm.TooCold, farm.Soon, []string{"Blue worms (60 %) are resting; red worms (40 %) are thriving."}},
		{"nearly all resting", []farm.Share{{Species: "red", Fraction: .1}, {Species: "blue", Fraction: .9}},
			"t", 18, farm.TooCold, farm.Soon, []string{"(90 %) are resting"}},
		{"a few in danger", []farm.Share{{Species: "red", Fraction: .95}, {Species: "african", Fraction: .05}},
			"t", 15.5, farm.TooCold, farm.Now, []string{"African worms (5 %) are in danger; red worms (95 %) are thriving."}},
		{"a fifth has it too dry", []farm.Share{{Species: "red", Fraction: .8}, {Species: "blue", Fraction: .2}}, "m", 72, farm.TooDry, farm.Calm, nil},
		{"three in five have it too dry", []farm.Share{{Species: "red", Fraction: .4}, {Species: "blue", Fraction: .6}},
			"m", 72, farm.TooDry, farm.Soon, []string{"Blue worms (60 %) have it too dry; red worms (40 %) are thriving."}},
		{"four in five have it too dry", []farm.Share{{Species: "red", Fraction: .2}, {Species: "blue", Fraction: .8}},
			"m", 72, farm.TooDry, farm.Today, []string{"Blue worms (80 %) have it too dry"}},
		{"a fifth in danger by drought", []farm.Share{{Species: "red", Fraction: .8}, {Species: "blue", Fraction: .2}},
			"m", 64, farm.TooDry, farm.Now, []string{"Blue worms (20 %) are in danger; red worms (80 %) have it too dry, but not in danger."}},
		{"three in five have it too wet", []farm.Share{{Species: "red", Fraction: .4}, {Species: "blue", Fraction: .6}},
			"m", 84, farm.TooWet, farm.Soon, []string{"Blue worms (60 %) have it too wet; red worms (40 %) are thriving."}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f := nursery(farm.Living)
			f.Bins[0].Species = tt.shares
			w := watching(f)
			w.hold(tt.probe, t0, t0.Add(96*time.Hour), tt.value)
			got := w.of(tt.cond)
			if tt.want == farm.Calm {
				if len(got) != 0 {
					t.Fatalf("got %+v, want nothing", got)
				}
				return
			}
			one := only(t, got)
			if one.Urgency != tt.want {
				t.Errorf("got %s, want %s", one.Urgency, tt.want)
			}
			for _, part := range tt.says {
				if !strings.Contains(one.Text, part) {
					t.Errorf("text %q does not say %q", one.Text, part)
				}
			}
		})
	}
}

// A forecast speaks of the limit that comes next, whichever rung that is.
func TestTheNextLimitIsForetoldOnEveryRung(t *testing.T) {
	mixed := func(shares ...farm.Share) *farm.Farm {
		f := several(farm.Temperature)
		f.Bins[0].Species, f.Bins[0].Zones[0].Probes = shares, []string{"t", "m"}
		return f
	}
	t.Run("heat", func(t *testing.T) {
		// Slowed past 25 °C: 60 %; past a second limit: 90 %; in danger past 32 °C. What
		// rises within hours is at a limit of its day once it is 3 K past it.
		for _, tt := range []struct {
			second, told float64
			at           farm.Urgency
		}{{30, 30, farm.Soon}, {28, 32, farm.Today}} {
			f := mixed(farm.Share{Species: "red", Fraction: .6}, farm.Share{Species: "african", Fraction: .3}, farm.Share{Species: "blue", Fraction: .1})
			for i := range f.Species {
				if f.Species[i].ID == "african" {
					f.Species[i].Temperature.Thrive.High = tt.second
				}
			}
			w := watching(f)
			told := false
			for at := t0; at.Before(t0.Add(6 * day)); at = at.Add(10 * time.Minute) {
				h := at.Sub(t0).Hours()
				wave := math.Sin(2 * math.Pi * h / 24)
				v := 23 + 0.3*wave
				if h > 96 {
					v += 12 / (1 + math.Exp(-(h-112)/4))
				}
				w.say("air", at, 20+wave)
				w.say("t", at.Add(time.Second), v)
				for _, st := range w.state.Look(at.Add(time.Second)).Standing {
					if st.Condition == farm.TooHot && st.Forecast != nil && st.Forecast.Limit == tt.told {
						if told = true; st.Urgency != tt.at {
							t.Fatalf("%s foretells %v °C", st.Urgency, st.Forecast.Limit)
						}
					}
				}
			}
			if !told {
				t.Errorf("never foretold %v °C at %s", tt.told, tt.at)
			}
		}
	})
	t.Run("drought", func(t *testing.T) {
		// Too dry under 75 %: 60 %; under 70 %: all; in danger under 65 %.
		w := watching(mixed(farm.Share{Species: "red", Fraction: .4}, farm.Share{Species: "blue", Fraction: .6}))
		limits := map[float64]bool{}
		for at := t0; at.Before(t0.Add(15 * day)); at = at.Add(20 * time.Minute) {
			w.say("m", at, 79-at.Sub(t0).Hours()/24)
			for _, st := range w.state.Look(at).Standing {
				if st.Condition == farm.TooDry && st.Forecast != nil {
					limits[st.Forecast.Limit] = true
					if want := map[float64]farm.Urgency{70: farm.Soon, 65: farm.Today}[st.Forecast.Limit]; st.Urgency != want {
						t.Fatalf("%s foretells %v %%", st.Urgency, st.Forecast.Limit)
					}
				}
			}
		}
		if !limits[70] || !limits[65] {
			t.Errorf("foretold %v, want both 70 and 65 %%", limits)
		}
		if got := w.of(farm.Drying); len(got) == 0 || !strings.Contains(got[0].Text, "below 75 %") {
			t.Errorf("got %+v, want drying to speak of the first limit that is judged", got)
		}
	})
}

// What a view shows of limits and worms is what is judged.
func TestAViewShowsWhatIsJudged(t *testing.T) {
	f := several(farm.Temperature, "near", "far")
	f.Bins[0].Species = []farm.Share{{Species: "red", Fraction: .6}, {Species: "african", Fraction: .3}, {Species: "blue", Fraction: .1}}
	w := watching(f)
	w.all(t0, t0.Add(2*time.Hour), map[string]float64{"near": 33, "far": 26}, "near", "far")
	z := w.state.Look(t0.Add(2 * time.Hour)).Bins[0].Zones[0]
	want := []farm.Limit{
		{Condition: farm.TooCold, Urgency: farm.Now, At: 16},
		{Condition: farm.TooHot, Urgency: farm.Soon, At: 25}, {Condition: farm.TooHot, Urgency: farm.Today, At: 30}, {Condition: farm.TooHot, Urgency: farm.Now, At: 32},
	}
	if diff := cmp.Diff(want, z.Level(farm.Temperature).Limits); diff != "" {
		t.Errorf("limits (-want +got):\n%s", diff)
	}
	if got, want := z.Level(farm.Temperature).Bands, (farm.Bands{Thrive: farm.Band{Low: 16, High: 25}, Survive: farm.Band{Low: 16, High: 32}}); got != want {
		t.Errorf("got bands %v, want %v", got, want)
	}
	if got := z.Level(farm.Temperature).Ends(farm.Metric.Temperature); got != "near 33 °C, far 26 °C" {
		t.Errorf("got ends %q", got)
	}
	var worms []string
	for _, sp := range z.Species {
		worms = append(worms, sp.Named()+" "+sp.Says())
	}
	if got := strings.Join(worms, "; "); got != "red worms (60 %) in danger at near; African worms (30 %) thriving; blue worms (10 %) thriving" {
		t.Errorf("got %q", got)
	}
}

// Doses aim at what the species have in common, and say so by their amount.
func TestADoseAimsAtWhatTheSpeciesHaveInCommon(t *testing.T) {
	f := nursery(farm.Living)
	f.Bins[0].Species = []farm.Share{{Species: "red", Fraction: .8}, {Species: "blue", Fraction: .2}}
	f.Bins[0].Zones[0].DryMassKg = 10
	w := watching(f)
	w.hold("m", t0, t0.Add(2*time.Hour), 69)
	got := only(t, w.of(farm.TooDry))
	// To 79 %, the middle of 75..83 %: 10 kg × (0.79/0.21 − 0.69/0.31) = 15.4 L.
	if got.Urgency != farm.Today || math.Abs(got.Advice.WaterLitres-15.36) > 0.05 {
		t.Errorf("got %s and %v L, want today and 15.4 L", got.Urgency, got.Advice.WaterLitres)
	}
}
