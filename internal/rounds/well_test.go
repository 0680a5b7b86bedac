package rounds_test

import (
	"maps"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/rounds"
	"binwatchd/internal/rules"
)

var start = time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)

// shed is a bed of red worms and a tub of castings, each with both probes.
func shed() *farm.Farm {
	zone := func(name string, aim farm.Aim, probes ...string) farm.Zone {
		return farm.Zone{
			Name: name, Aim: aim, Probes: probes, Share: 1, Patience: 30 * time.Minute,
			Margin: map[farm.Quantity]float64{farm.Temperature: 0.5, farm.Moisture: 2}, LookAhead: farm.LookAhead{Heating: 12 * time.Hour, Drying: 7 * 24 * time.Hour},
		}
	}
	probe := func(id string, q farm.Quantity) farm.Probe {
		return farm.Probe{ID: id, Measures: q, Every: 10 * time.Minute}
	}
	return &farm.Farm{
		Name: "Hillfoot Nursery", Location: time.UTC, Species: husbandry.Species(), Feeds: husbandry.Feeds(),
		Probes: []farm.Probe{probe("bed-t", farm.Temperature), probe("bed-m", farm.Moisture), probe("tub-t", farm.Temperature), probe("tub-m", farm.Moisture)},
		Bins: []farm.Bin{
			{Name: "bed", Species: []farm.Share{{Species: "red", Fraction: 1}}, VolumeL: 100, Zones: []farm.Zone{zone("near", farm.Living, "bed-t", "bed-m")}},
			{Name: "tub", VolumeL: 60, Zones: []farm.Zone{zone("all", farm.Keeping, "tub-t", "tub-m")}},
		},
	}
}

// usual levels, at which all is well.
var usual = map[string]float64{"bed-t": 20, "bed-m": 76, "tub-t": 12, "tub-m": 48}

// A life is two bins whose levels jump and fall silent; lids come off; and somebody looks.
type life struct {
	t     *rapid.T
	state *rules.State
	at    time.Time
	level map[string]float64
	mute  map[string]time.Time
}

func (l *life) step() {
	l.at = l.at.Add(10 * time.Minute)
	for _, id := range []string{"bed-t", "bed-m", "tub-t", "tub-m"} {
		switch rapid.IntRange(0, 60).Draw(l.t, id) {
		case 41: // rapid prefers small numbers, so these are rare
			l.level[id] = usual[id] + rapid.Float64Range(-14, 14).Draw(l.t, "jump")
		case 43:
			l.mute[id] = l.at.Add(time.Duration(rapid.IntRange(1, 12).Draw(l.t, "hours")) * time.Hour)
		}
		if l.at.Before(l.mute[id]) {
			continue
		}
		r := farm.Reading{Probe: id, At: l.at, Raw: l.level[id], Value: l.level[id]}
		if rapid.IntRange(0, 90).Draw(l.t, "doubt") == 67 {
			r.Doubt = farm.FaultCode
		}
		l.state.Step(farm.Event{Kind: farm.EventReading, Arrived: l.at, Reading: r})
	}
	if rapid.IntRange(0, 80).Draw(l.t, "jot") == 61 {
		j := farm.Jot{At: l.at, Bin: rapid.SampledFrom([]string{"bed", "tub"}).Draw(l.t, "bin"), What: rapid.SampledFrom(farm.JotKinds).Draw(l.t, "what"), Litres: 1}
		l.state.Step(farm.Event{Kind: farm.EventJot, Arrived: l.at, Jot: j})
	}
}

// All is well is said only where everything that is watched is known, closed and
// inside its limits; and every sentence goes with the number beside it.
func TestAllIsWellOnlyWhereAllIsKnown(t *testing.T) {
	well, raised := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		l := life{
			t: t, state: rules.New(shed()), at: start, mute: map[string]time.Time{},
			level: maps.Clone(usual),
		}
		for range rapid.IntRange(0, 300).Draw(t, "steps") {
			l.step()
			v := l.state.Look(l.at.Add(time.Duration(rapid.IntRange(0, 50).Draw(t, "minutes")) * time.Minute))
			v.Intake = farm.IntakeView{Running: true, Connected: true}
			if strings.Contains(rounds.List(v, farm.Dates{Location: time.UTC}).Opening, "all is well") {
				well++
				for _, b := range v.Bins {
					for _, z := range b.Zones {
						mustBeWell(t, z, v.At)
					}
				}
			}
			for _, st := range v.Standing {
				raised++
				mustAgree(t, v, st)
			}
		}
	})
	if well < 100 || raised < 100 {
		t.Errorf("all was well %d times and %d conditions stood: nothing was tried", well, raised)
	}
}

func mustBeWell(t *rapid.T, z farm.ZoneView, at time.Time) {
	for q, l := range z.Levels {
		switch {
		case l == nil || !l.Fresh:
			t.Fatalf("%s: all is well, and a level is not known: %+v", z.Bin, z)
		case z.LidOff != nil && z.LidOff.After(at):
			t.Fatalf("%s: all is well, and the lid is off", z.Bin)
		case !l.Bands.Thrive.Contains(l.Value) && !mildly(q, l):
			t.Fatalf("%s: all is well at %g, past %v", z.Bin, l.Value, l.Bands.Thrive)
		}
	}
}

// mildly tells whether a temperature is past thrive by so little that the mean of
// the day has a say: what a warm hour does to worms is nothing to do about.
func mildly(q farm.Quantity, l *farm.LevelView) bool {
	const atOnce = 3 // K
	t := l.Bands.Thrive
	return q == farm.Temperature && l.Value >= t.Low-atOnce && l.Value <= t.High+atOnce
}

// closeTo tells whether a figure that is written finer than usual is a value.
func closeTo(figure string, v float64) bool {
	number, _, _ := strings.Cut(figure, " ")
	f, err := strconv.ParseFloat(number, 64)
	return err == nil && math.Abs(f-v) <= 0.06
}

// hairPast tells whether a figure names the limit that a level is nearer to than can be
// written, and the side of it.
func hairPast(figure string, write func(float64) string, l *farm.LevelView) bool {
	for _, limit := range []float64{l.Bands.Thrive.Low, l.Bands.Thrive.High, l.Bands.Survive.Low, l.Bands.Survive.High} {
		side := "just under "
		if l.Value > limit {
			side = "just over "
		}
		if strings.HasPrefix(figure, side+write(limit)) && math.Abs(l.Value-limit) <= 0.05 {
			return true
		}
	}
	return false
}

// mustAgree holds the words of a band condition against the level.
func mustAgree(t *rapid.T, v farm.View, st farm.Standing) {
	_, said, ok := strings.Cut(st.Text, " is too ")
	if !ok {
		return // of before, nearly over, or no band condition
	}
	for _, b := range v.Bins {
		z := b.Zones[0]
		l, write := z.Level(farm.Moisture), v.Units.Moisture
		if st.Condition == farm.TooHot || st.Condition == farm.TooCold {
			l, write = z.Level(farm.Temperature), v.Units.Temperature
		}
		if z.Bin != st.Bin {
			continue
		}
		whole, _, _ := strings.Cut(write(l.Value), " ")
		_, figure, _ := strings.Cut(said, " at ")
		if !strings.HasPrefix(figure, whole) && !hairPast(figure, write, l) && !closeTo(figure, l.Value) {
			t.Fatalf("%q beside %s (%g)", st.Text, write(l.Value), l.Value)
		}
		if a := st.Advice; a.WaterLitres > 0 && z.Water != nil && a.WaterLitres != z.Water.WaterLitres {
			t.Fatalf("%g litres are told and %g shown", a.WaterLitres, z.Water.WaterLitres)
		}
	}
}
