package scenariotest_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/scenariotest"
)

var start = time.Date(2025, 4, 7, 0, 0, 0, 0, time.UTC)

const day = 24 * time.Hour

func runs(kind scenariotest.Kind, n int) []*scenariotest.Run {
	var out []*scenariotest.Run
	for _, c := range scenariotest.Suite(kind, n, 1, start) {
		out = append(out, c.Run())
	}
	return out
}

// A heating suite holds the whole range: hardly noticed, near the limit, well
// past it; and those that cross take from about a day to about five.
func TestHeatings(t *testing.T) {
	var small, near, past int
	var hours []float64
	for _, r := range runs(scenariotest.Heating, 36) {
		if len(r.Jots) != 1 || r.Jots[0].What != farm.Fed {
			t.Fatalf("%s: jots %+v, want one feed", r.Case, r.Jots)
		}
		fed := r.Jots[0].At
		before, _ := r.Temperature.Max(start, fed)
		if before > 25 {
			t.Errorf("%s: %.1f °C before the feed, want a thriving bin", r.Case, before)
		}
		peak, at := r.Temperature.Max(fed, r.Temperature.To())
		switch {
		case peak < scenariotest.HeatLimitC-3:
			small++
		case peak < scenariotest.HeatLimitC+3:
			near++
		default:
			past++
		}
		if peak < 18 || peak > 48 {
			t.Errorf("%s: peak of %.1f °C", r.Case, peak)
		}
		if crossed, ok := r.Temperature.Rises(scenariotest.HeatLimitC, fed); ok {
			hours = append(hours, crossed.Sub(fed).Hours())
			if crossed.After(at) {
				t.Errorf("%s: crossed at %s, after the peak at %s", r.Case, crossed, at)
			}
		} else if peak > scenariotest.HeatLimitC {
			t.Errorf("%s: peaked at %.1f °C without crossing", r.Case, peak)
		}
	}
	if small < 6 || near < 4 || past < 8 {
		t.Errorf("got %d small, %d near the limit, %d past it; want some of each", small, near, past)
	}
	slices.Sort(hours)
	if hours[0] < 12 || hours[len(hours)-1] > 130 {
		t.Errorf("crossings %v hours after the feed", hours)
	}
}

func TestDryings(t *testing.T) {
	crossed := 0
	for _, r := range runs(scenariotest.Drying, 24) {
		limit := scenariotest.DryBelow
		if r.Case.Bin == scenariotest.Tub {
			limit = scenariotest.KeepBelow
		}
		if r.Moisture.V[0] < limit+2 {
			t.Errorf("%s: begins at %.1f %%, hardly above %.0f", r.Case, r.Moisture.V[0], limit)
		}
		if len(r.Jots) != 0 {
			t.Errorf("%s: somebody did something: %+v", r.Case, r.Jots)
		}
		at, ok := r.Moisture.Falls(limit, start)
		if !ok {
			continue
		}
		crossed++
		if d := at.Sub(start); d < 4*day {
			t.Errorf("%s: dry after %s, too soon to be foretold a week ahead", r.Case, d)
		}
	}
	if crossed < 20 {
		t.Errorf("%d of 24 dried out, want nearly all", crossed)
	}
}

func TestSiftings(t *testing.T) {
	for _, r := range runs(scenariotest.Sifting, 24) {
		opens, opened := r.Moisture.Falls(scenariotest.SiftOpens, start)
		closes, closed := r.Moisture.Falls(scenariotest.SiftCloses, start)
		if !opened || !closed {
			t.Errorf("%s: opened %v, closed %v", r.Case, opened, closed)
			continue
		}
		if d := closes.Sub(opens); d < 2*day || d > 25*day {
			t.Errorf("%s: the window is open for %s", r.Case, d)
		}
		if r.Case.Probe != scenariotest.Cheap {
			continue
		}
		if _, ok := r.Clean(farm.Moisture).Falls(scenariotest.SiftCloses, start); !ok {
			t.Errorf("%s: ended before the probe's own crossing", r.Case)
		}
	}
}

// Nothing is wrong with a quiet bin: the red worms' 15–25 °C and 70–85 % and the
// castings' 40–55 % (the program's starting defaults) are kept, but for the
// hottest hours under glass and the coldest in the shed.
func TestQuietBinsAreQuiet(t *testing.T) {
	for _, r := range runs(scenariotest.Quiet, 20) {
		low, _ := r.Temperature.Min(start, r.Temperature.To())
		high, _ := r.Temperature.Max(start, r.Temperature.To())
		if low < 14.5 || high > 26.5 {
			t.Errorf("%s: %.1f to %.1f °C", r.Case, low, high)
		}
		band := farm.Band{Low: scenariotest.DryBelow + 1, High: 84}
		if r.Case.Bin == scenariotest.Tub {
			band = farm.Band{Low: scenariotest.KeepBelow + 1, High: 54}
		}
		dry, _ := r.Moisture.Min(start, r.Moisture.To())
		wet, _ := r.Moisture.Max(start, r.Moisture.To())
		if !band.Contains(dry) || !band.Contains(wet) {
			t.Errorf("%s: %.1f to %.1f %%, want within %v", r.Case, dry, wet, band)
		}
		if got := r.Temperature.To().Sub(start); got != 30*day {
			t.Errorf("%s: lasted %s", r.Case, got)
		}
	}
}

// A dose of water raises a bin by what the dry-basis formula says.
func TestWateringsRaiseByTheirDose(t *testing.T) {
	checked := 0
	for _, r := range runs(scenariotest.Quiet, 12) {
		for _, j := range r.Jots {
			if j.What != farm.Watered || r.Case.Bin != scenariotest.Tub {
				continue
			}
			ratio := func(at time.Time) float64 { m := r.Moisture.At(at); return m / (100 - m) }
			rise := ratio(j.At.Add(10*time.Minute)) - ratio(j.At)
			if want := j.Litres / r.DryKg; math.Abs(rise-want) > 0.02*want {
				t.Errorf("%s: %.1f L raised the water ratio by %.4f, want %.4f", r.Case, j.Litres, rise, want)
			}
			checked++
		}
	}
	if checked == 0 {
		t.Error("no tub was watered")
	}
}

func TestSameCaseSameRun(t *testing.T) {
	c := scenariotest.Suite(scenariotest.Sifting, 9, 40, start)[8]
	c.Days = 5
	a, b := c.Run(), c.Run()
	if !slices.Equal(slices.Collect(a.Events(time.Minute)), slices.Collect(b.Events(time.Minute))) {
		t.Error("the same case said something else")
	}
	c.Seed++
	if slices.Equal(a.Moisture.V, c.Run().Moisture.V) {
		t.Error("another seed dried the same")
	}
}

func TestSuiteMixes(t *testing.T) {
	for _, kind := range []scenariotest.Kind{scenariotest.Quiet, scenariotest.Heating, scenariotest.Drying, scenariotest.Sifting} {
		rooms, bins, probes, air := map[scenariotest.Room]int{}, map[scenariotest.Bin]int{}, map[scenariotest.Probe]int{}, map[bool]int{}
		names := map[string]bool{}
		for _, c := range scenariotest.Suite(kind, 24, 1, start) {
			rooms[c.Room]++
			bins[c.Bin]++
			probes[c.Probe]++
			air[c.Ambient]++
			names[c.String()] = true
		}
		if len(rooms) != 4 || len(bins) < 2 || len(probes) != 3 || len(air) != 2 || len(names) != 24 {
			t.Errorf("%s: rooms %v, bins %v, probes %v, ambient %v, %d names", kind, rooms, bins, probes, air, len(names))
		}
	}
}

func TestFeedAsAsked(t *testing.T) {
	c := scenariotest.Suite(scenariotest.Heating, 1, 1, start)[0]
	c.FeedKg = 5
	r := c.Run()
	if r.Jots[0].Kg != 5 {
		t.Errorf("got %g kg, want 5", r.Jots[0].Kg)
	}
	c.FeedKg = 0.1
	small, _ := c.Run().Temperature.Max(start, start.Add(10*day))
	if big, _ := r.Temperature.Max(start, start.Add(10*day)); big < small+10 {
		t.Errorf("5 kg peaked at %.1f °C and 0.1 kg at %.1f °C", big, small)
	}
}
