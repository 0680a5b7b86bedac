package acceptancetest_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/ingest"
	"binwatchd/internal/rules"
)

// bed is one bed with probes for its only zone, doubted and judged as the
// daemon does it.
type bed struct {
	doubter *ingest.Doubter
	state   *rules.State
	changes []farm.Change
}

func newBed(q farm.Quantity, ids ...string) *bed { return newBedAt(q, 10*time.Minute, ids...) }

func newBedAt(q farm.Quantity, every time.Duration, ids ...string) *bed {
	unit := farm.Celsius
	if q == farm.Moisture {
		unit = farm.Percent
	}
	zone := farm.Zone{
		Name: "all", Aim: farm.Living, Probes: ids, Share: 1, Patience: 30 * time.Minute,
		Margin:    map[farm.Quantity]float64{farm.Temperature: 0.5, farm.Moisture: 2},
		LookAhead: farm.LookAhead{Heating: 12 * time.Hour, Drying: 7 * 24 * time.Hour},
	}
	f := &farm.Farm{
		Name: "Hillfoot Nursery", Units: farm.Metric, Location: time.UTC, Species: husbandry.Species(), Feeds: husbandry.Feeds(),
		Bins: []farm.Bin{{Name: "bed", Species: []farm.Share{{Species: "red", Fraction: 1}}, VolumeL: 160, Zones: []farm.Zone{zone}}},
	}
	for _, id := range ids {
		f.Probes = append(f.Probes, farm.Probe{ID: id, Topic: id, Measures: q, Unit: unit, Every: every})
	}
	return &bed{doubter: ingest.NewDoubter(f), state: rules.New(f)}
}

func (b *bed) say(id string, at time.Time, v float64) {
	r := farm.Reading{Probe: id, At: at, Raw: v, Value: v}
	b.doubter.Judge(&r)
	b.changes = append(b.changes, b.state.Step(farm.Event{Kind: farm.EventReading, Arrived: at, Reading: r})...)
}

func (b *bed) jot(at time.Time, what farm.JotKind) {
	j := farm.Jot{At: at, Bin: "bed", What: what}
	b.doubter.Jotted(j)
	b.changes = append(b.changes, b.state.Step(farm.Event{Kind: farm.EventJot, Arrived: at, Jot: j})...)
}

func (b *bed) of(c farm.Condition) (out []farm.Change) {
	for _, ch := range b.changes {
		if ch.Condition == c {
			out = append(out, ch)
		}
	}
	return out
}

// A moisture probe that a keeper left on the bench at a feeding. However long it
// lies there, the bin is not told to be dry; the keeper is told to look, today,
// and the zone does not pretend to know.
func TestAProbeOnTheBenchDriesNoBin(t *testing.T) {
	b := newBed(farm.Moisture, "m")
	lifted := start.AddDate(0, 0, 10)
	back := lifted.AddDate(0, 0, 12)
	day := func(at time.Time) float64 { return math.Sin(at.Sub(start).Hours() * math.Pi / 12) }
	for at := start; at.Before(back.AddDate(0, 0, 2)); at = at.Add(10 * time.Minute) {
		switch h := at.Sub(lifted).Hours(); {
		case at.Equal(lifted.Add(20 * time.Minute)):
			b.jot(at, farm.Fed)
			b.say("m", at, 30)
		case h >= 0 && at.Before(back):
			b.say("m", at, 5+67*math.Exp(-h*4)+day(at))
		default:
			b.say("m", at, 72+day(at))
		}
		if at.Equal(back.Add(-time.Hour)) {
			z := b.state.Look(at).Bins[0].Zones[0]
			if z.Unjudged != "no reading is believed" || z.Level(farm.Moisture).Fresh || z.Level(farm.Moisture).Value < 60 {
				t.Errorf("got the view %+v with moisture %+v, want that no reading is believed", z, z.Level(farm.Moisture))
			}
		}
	}
	for _, c := range []farm.Condition{farm.TooDry, farm.Drying} {
		if got := b.of(c); len(got) != 0 {
			t.Errorf("got %+v, want no %s", got, c)
		}
	}
	got := b.of(farm.Suspect)
	if len(got) == 0 || got[len(got)-1].Change != farm.Eased || got[len(got)-1].At.Before(back) {
		t.Fatalf("got %+v, want it suspect until it is back", got)
	}
	told := got[len(got)-2]
	if told.Urgency != farm.Today || !strings.Contains(told.Text, "m says ") || told.At.Sub(lifted) > 3*time.Hour {
		t.Errorf("got %+v, want it told today", told)
	}
}

// A moisture that falls by 16 points in 20 minutes: no bin does that, so however
// long it lasts the keeper is asked to look and not told that the bin is too dry.
// Any word of what was done there is the answer.
func TestAFallThatNoBinMakesIsAskedAbout(t *testing.T) {
	for _, what := range []farm.JotKind{farm.Turned, farm.Bedded, farm.Lifted, farm.Watered, farm.Fed} {
		b := newBed(farm.Moisture, "m")
		fell := start.AddDate(0, 0, 10)
		told := fell.AddDate(0, 0, 9)
		for at := start; at.Before(told.Add(12 * time.Hour)); at = at.Add(10 * time.Minute) {
			day := math.Sin(at.Sub(start).Hours() * math.Pi / 12)
			switch {
			case at.Before(fell):
				b.say("m", at, 74+day)
			default:
				b.say("m", at, max(74-0.8*at.Sub(fell).Minutes(), 57)+day)
			}
			if at.Equal(told) {
				if got := append(b.of(farm.TooDry), b.of(farm.Drying)...); len(got) != 0 {
					t.Fatalf("got %+v before anything was jotted", got)
				}
				suspect := b.of(farm.Suspect)
				if len(suspect) == 0 || suspect[len(suspect)-1].Urgency != farm.Today || !strings.Contains(suspect[len(suspect)-1].Advice.Do, "jot") {
					t.Fatalf("got %+v, want it told today, and what to do", suspect)
				}
				b.jot(at, what)
			}
		}
		if got := b.of(farm.TooDry); len(got) == 0 || got[0].At.Sub(told) > 8*time.Hour {
			t.Errorf("jotted as %s: got %+v, want it believed within the hour and too dry soon after", what, got)
		}
	}
}

// Feed heats one end of a bed to 37.8 °C for 53 hours, and nobody jotted it: the
// probe there is believed, though the other end is at 26 °C. The same number
// from a probe that stepped there is told as suspect and makes no bin too hot.
func TestOneEndAtADeadlyHeatIsTold(t *testing.T) {
	for _, tt := range []struct {
		name string
		hot  func(h float64) float64
		now  bool
	}{
		{"heated by feed", func(h float64) float64 { return min(26+0.5*h, 37.8) }, true},
		{"heated fast", func(h float64) float64 { return min(26+2.5*h, 37.8) }, true},
		{"stepped", func(h float64) float64 { return 37.8 }, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b := newBed(farm.Temperature, "near", "far")
			begin := start.AddDate(0, 0, 10)
			for at := start; at.Before(begin.Add(77 * time.Hour)); at = at.Add(10 * time.Minute) {
				h := at.Sub(begin).Hours()
				day := 0.4 * math.Sin(h*math.Pi/12)
				near := 26.0
				if h >= 0 {
					near = tt.hot(h)
				}
				b.say("near", at, near+day)
				b.say("far", at.Add(time.Second), 26+day)
			}
			now := false
			for _, ch := range b.of(farm.TooHot) {
				now = now || ch.Urgency == farm.Now
			}
			if now != tt.now {
				t.Errorf("too hot, now: %v, want %v", now, tt.now)
			}
			suspect := b.of(farm.Suspect)
			if tt.now && len(suspect) != 0 {
				t.Errorf("got %+v, want no suspicion", suspect)
			}
			if last := len(suspect) - 1; !tt.now && (last < 0 || suspect[last].Urgency != farm.Today || !strings.Contains(suspect[last].Text, "far 2")) {
				t.Errorf("got %+v, want it suspect, today, beside what the far end says", suspect)
			}
		})
	}
}
