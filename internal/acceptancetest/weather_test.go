package acceptancetest_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/ingest"
	"binwatchd/internal/rules"
)

// seattle gives NOAA's daily minimum and maximum for Seattle, 2012 to 2015, °C:
// file seattle-weather.csv of the npm package vega-datasets, from NOAA's
// National Centers for Environmental Information, public domain.
func seattle(t *testing.T) (first time.Time, low, high []float64) {
	t.Helper()
	f, err := os.Open("../../testdata/weather/seattle-weather.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range rows[1:] {
		if i == 0 {
			if first, err = time.Parse("2006-01-02", row[0]); err != nil {
				t.Fatal(err)
			}
		}
		hi, err1 := strconv.ParseFloat(row[2], 64)
		lo, err2 := strconv.ParseFloat(row[3], 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("row %d: %v", i, row)
		}
		low, high = append(low, lo), append(high, hi)
	}
	return first, low, high
}

// outdoors draws the day between the extremes: coldest at 5, warmest at 15.
func outdoors(low, high []float64, hours float64) float64 {
	day := int(hours / 24)
	h := hours - 24*float64(day)
	cosine := func(a, b, part float64) float64 { return a + (b-a)*(1-math.Cos(math.Pi*part))/2 }
	at := func(v []float64, i int) float64 { return v[min(max(i, 0), len(v)-1)] }
	switch {
	case h < 5:
		return cosine(at(high, day-1), at(low, day), (h+9)/14)
	case h < 15:
		return cosine(at(low, day), at(high, day), (h-5)/10)
	}
	return cosine(at(high, day), at(low, day+1), (h-15)/14)
}

// An unheated shed and a bin that only follows it, through four years of real
// weather: nothing is heating, no probe is suspect, and the bin is too hot or
// too cold exactly when it and the mean of its day are past its bands.
func TestFourYearsOfRealWeather(t *testing.T) {
	t.Parallel()
	first, low, high := seattle(t)
	for _, withAir := range []bool{true, false} {
		t.Run(map[bool]string{true: "room known", false: "room unknown"}[withAir], func(t *testing.T) {
			w := newShed(withAir)
			shed, bin := outdoors(low, high, 0), outdoors(low, high, 0)
			const step = 10 * time.Minute
			years := efforttest.Cases(1, 4)
			for i := 0; i < years*365*24*6; i++ {
				hours := float64(i) / 6
				shed += (outdoors(low, high, hours) - shed) / (6 * 3) // three hours behind the weather
				bin += (shed - bin) / (6 * 10)                        // ten behind the shed
				w.live(t, first.Add(time.Duration(i)*step), shed, bin)
			}
			for _, ch := range w.changes {
				if ch.Condition == farm.Heating || ch.Condition == farm.Suspect {
					t.Errorf("got %s %s at %s: %s", ch.Condition, ch.Change, ch.At, ch.Text)
				}
			}
			if w.hot < 5 || w.cold < 50 {
				t.Errorf("the bin was too hot for %d h and too cold for %d h; the test shows little", w.hot, w.cold)
			}
		})
	}
}

// A shed is the pipeline with a bin of red worms in it.
type shed struct {
	doubter   *ingest.Doubter
	state     *rules.State
	changes   []farm.Change
	past      [2]int // readings in a row past thrive, the mean of their day too: hot, cold
	away      [2]int // readings in a row that were not
	inside    [2]int // readings in a row inside by the margin
	day       [144]float64
	readings  int
	hot, cold int // hours of it
}

func newShed(withAir bool) *shed {
	f := &farm.Farm{
		Name: "Hillfoot Nursery", Units: farm.Metric, Location: time.UTC, Species: husbandry.Species(), Feeds: husbandry.Feeds(),
		Probes: []farm.Probe{
			{ID: "bin", Measures: farm.Temperature, Unit: farm.Celsius, Every: 10 * time.Minute},
			{ID: "air", Measures: farm.Temperature, Unit: farm.Celsius, Every: 10 * time.Minute},
		},
		Bins: []farm.Bin{{Name: "bin", Species: []farm.Share{{Species: "red", Fraction: 1}}, VolumeL: 100, Zones: []farm.Zone{{
			Name: "all", Aim: farm.Living, Probes: []string{"bin"}, Share: 1, Patience: 30 * time.Minute,
			Margin: map[farm.Quantity]float64{farm.Temperature: 0.5, farm.Moisture: 2}, LookAhead: farm.LookAhead{Heating: 12 * time.Hour, Drying: 7 * 24 * time.Hour},
		}}}},
	}
	if withAir {
		f.Bins[0].Ambient = "air"
	}
	return &shed{doubter: ingest.NewDoubter(f), state: rules.New(f)}
}

func (w *shed) live(t *testing.T, at time.Time, air, bin float64) {
	t.Helper()
	w.say("air", at, air)
	bin = w.say("bin", at.Add(time.Second), bin)
	w.check(t, at, bin)
}

// say lets a DS18B20 speak: steps of a sixteenth of a degree.
func (w *shed) say(probe string, at time.Time, v float64) float64 {
	v = math.Round(v*16) / 16
	r := farm.Reading{Probe: probe, At: at, Raw: v, Value: v}
	w.doubter.Judge(&r)
	w.changes = append(w.changes, w.state.Step(farm.Event{Kind: farm.EventReading, Arrived: at, Reading: r})...)
	return v
}

// settled is how many readings in a row leave no doubt of how the rules must
// see it: the median of half an hour, patience, and a reading to spare.
const settled = 8

// By then what has come again and again is over.
const half, threeDays = 6*12 + settled, 6*72 + settled

// check holds what is raised against the bin itself.
func (w *shed) check(t *testing.T, at time.Time, bin float64) {
	t.Helper()
	red := husbandry.Species()[0].Temperature.Thrive
	w.day[w.readings%len(w.day)] = bin
	w.readings++
	mean := 0.0
	for _, v := range w.day[:min(w.readings, len(w.day))] {
		mean += v / float64(min(w.readings, len(w.day)))
	}
	if w.readings < 2*len(w.day) { // it has just begun, and the level alone may have decided
		return
	}
	run := func(n *int, on bool) {
		if *n++; !on {
			*n = 0
		}
	}
	const near = 0.1 // K by which the mean of readings may differ from the program's
	for i, side := range []struct{ level, mean float64 }{{bin - red.High, mean - red.High}, {red.Low - bin, red.Low - mean}} {
		run(&w.past[i], side.level > 0 && side.mean > near || side.level > 3)
		run(&w.away[i], (side.level <= 0 || side.mean < -near) && side.level < 3)
		run(&w.inside[i], side.level <= -0.5)
	}
	if at.Minute() != 0 {
		return
	}
	for i, c := range []farm.Condition{farm.TooHot, farm.TooCold} {
		raised := w.raised(at, c)
		if w.past[i] >= settled && !raised {
			t.Errorf("%s: %.1f °C for %d readings, and no %s", at, bin, w.past[i], c)
		}
		if w.inside[i] >= half && w.away[i] >= threeDays && raised {
			t.Errorf("%s: %.1f °C is inside for %d readings, and %s stands", at, bin, w.inside[i], c)
		}
	}
	if w.past[0] > 0 {
		w.hot++
	}
	if w.past[1] > 0 {
		w.cold++
	}
}

func (w *shed) raised(at time.Time, c farm.Condition) bool {
	for _, s := range w.state.Look(at).Standing {
		if s.Condition == c {
			return true
		}
	}
	return false
}
