package trend_test

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/trend"
)

// extremes reads the daily lowest and highest temperatures of Seattle
// 2012–2015: NOAA, from seattle-weather.csv of npm vega-datasets 3.2.1, public
// domain; see testdata/weather/README.md.
func extremes(t testing.TB) (low, high []float64) {
	t.Helper()
	file, err := os.Open("../../testdata/weather/seattle-weather.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		hi, err1 := strconv.ParseFloat(row[2], 64)
		lo, err2 := strconv.ParseFloat(row[3], 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("row %v", row)
		}
		low, high = append(low, lo), append(high, hi)
	}
	if len(low) != 1461 {
		t.Fatalf("read %d days, want 1461", len(low))
	}
	days := efforttest.Cases(183, len(low)) // winter to summer of 2012
	return low[:days], high[:days]
}

// outdoors draws a curve through the extremes: coolest at 5, warmest at 15
// o'clock, half a cosine between.
func outdoors(low, high []float64, hour float64) float64 {
	day := int(hour / 24)
	h := hour - 24*float64(day)
	next := min(day+1, len(low)-1)
	before := max(day-1, 0)
	switch {
	case h < 5:
		return swung(high[before], low[day], (h+9)/14)
	case h < 15:
		return swung(low[day], high[day], (h-5)/10)
	}
	return swung(high[day], low[next], (h-15)/14)
}

func swung(from, to, part float64) float64 {
	return from + (to-from)*(1-math.Cos(part*math.Pi))/2
}

// A follower is a bin with no heat of its own.
type follower struct {
	name    string
	lag     float64 // h behind its shed
	seesAir bool
	step    float64 // K, of its probe
	glass   float64 // K by which the shed is warmer than outdoors
	fed     bool    // jotted as fed every week, though it never heats
}

// A followed counts refits: those that took the bin to heat itself, and those
// that would have raised it, at its survive limit and at a low one.
type followed struct{ selves, raised, raisedLow int }

// watch runs four years past a follower, refitting every hour for the survive
// limit and every third for one of 20 °C, so that winter tells something too.
func (c follower) watch(low, high []float64) (n followed) {
	rng := rand.New(rand.NewPCG(5, 6))
	sees := tracked{bin: trend.NewTrack(), air: trend.NewTrack()}
	air := &sees.air
	if !c.seesAir {
		air = nil
	}
	shed, bin := low[0], low[0]
	for minute := 0; minute < len(low)*24*60; minute += simStep {
		shed += (c.glass + outdoors(low, high, float64(minute)/60) - shed) * (1 - math.Exp(-1.0/6/2.5))
		bin += (shed - bin) * (1 - math.Exp(-1.0/6/c.lag))
		now := simTime(minute)
		sees.air.Add(now, shed+0.1*rng.NormFloat64())
		sees.bin.Add(now, math.Round((bin+0.1*rng.NormFloat64())/c.step)*c.step)
		if c.fed && minute%(7*24*60) == 12*60 {
			sees.bin.Fed(now)
		}
		if minute%60 != 50 {
			continue
		}
		n.refit(&sees.bin, air, heatLimit, now, &n.raised)
		if minute/60%3 == 0 {
			n.refit(&sees.bin, air, 20, now, &n.raisedLow)
		}
	}
	return n
}

func (n *followed) refit(bin, air *trend.Track, limit float64, now time.Time, raised *int) {
	got := trend.HeatingFit(bin, air, limit, 12*time.Hour, now)
	if got.Self {
		n.selves++
	}
	if got.Self && got.Crossing.Within(now, 12*time.Hour) {
		*raised++
	}
}

// A bin that only follows its shed must never be raised as self-heating: four
// years of real weather, seen with and without the shed's own probe.
func TestRealWeatherNeverHeatsItself(t *testing.T) {
	efforttest.Long(t)
	low, high := extremes(t)
	for _, c := range []follower{
		{name: "bed", lag: 14, seesAir: true, step: 0.5},
		{name: "barrel", lag: 40, seesAir: true, step: 0.0625},
		{name: "thin bin under glass", lag: 4, seesAir: true, step: 0.0625, glass: 8},
		{name: "thin bin, shed not seen", lag: 4, step: 0.0625},
		{name: "bed, shed not seen", lag: 14, step: 0.5},
		{name: "barrel, shed not seen", lag: 40, step: 0.0625},
		{name: "bin in the open, coarse probe", lag: 0.5, step: 1},
		{name: "thin bin under glass, not seen", lag: 4, step: 0.0625, glass: 8},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := c.watch(low, high)
			t.Logf("of %d refits: %+v", len(low)*(24+8), got)
			if got.raised > 0 {
				t.Error("raised at the survive limit, want none")
			}
			if got.raisedLow > 3 || got.selves > 25 {
				t.Error("want hardly any at 20 °C, and hardly any seen")
			}
		})
	}
}

// The same bins jotted as fed every week: heat of their own is likelier then,
// so less is asked of the data, yet no more than a few hours in four years may
// be mistaken.
func TestRealWeatherWithFeeds(t *testing.T) {
	efforttest.Long(t)
	low, high := extremes(t)
	for _, c := range []follower{
		{name: "bed", lag: 14, seesAir: true, step: 0.5, fed: true},
		{name: "thin bin under glass", lag: 4, seesAir: true, step: 0.0625, glass: 8, fed: true},
		{name: "bed, shed not seen", lag: 14, step: 0.5, fed: true},
		{name: "thin bin under glass, not seen", lag: 4, step: 0.0625, glass: 8, fed: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := c.watch(low, high)
			t.Logf("of %d refits: %+v", len(low)*(24+8), got)
			if got.raised > 6 || got.raisedLow > 24 {
				t.Error("want at most a few hours in four years")
			}
		})
	}
}
