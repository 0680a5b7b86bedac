package trend_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/trend"
)

// A heater comes back: after steady cold days a room rises from 7 to 23 °C in
// five hours, and bins of any lag follow. None is told to heat itself, seen with
// the room's probe and without, left alone or fed the day before, whenever in the
// day it happens.
func TestAHeaterThatReturnsIsNotTheBinsOwnHeat(t *testing.T) {
	efforttest.Long(t)
	for _, lag := range []float64{1, 3, 6, 12, 24} {
		for _, seesAir := range []bool{true, false} {
			for _, fed := range []int{0, 5, 20} { // hours before
				t.Run(fmt.Sprintf("lag %v h, air %v, fed %d h before", lag, seesAir, fed), func(t *testing.T) {
					for seed := range uint64(6) {
						returns := 8*24 + int(seed)*4 // o'clock 0, 4, 8 and so on
						for hour := range heaterBack(lag, seesAir, fed, returns, seed) {
							t.Errorf("seed %d: raised %d h after the heater came back", seed, hour-returns)
							break
						}
					}
				})
			}
		}
	}
}

// heaterBack gives the hours at which a bin that only follows its room would be
// raised.
func heaterBack(lag float64, seesAir bool, fedBefore, returns int, seed uint64) func(func(int) bool) {
	rng := rand.New(rand.NewPCG(seed, 3))
	return func(yield func(int) bool) {
		sees := tracked{bin: trend.NewTrack(), air: trend.NewTrack()}
		air := &sees.air
		if !seesAir {
			air = nil
		}
		bin := 7.5
		for minute := 0; minute < (returns+72)*60; minute += simStep {
			hour, now := float64(minute)/60, simTime(minute)
			room := 7 + 16*min(1, max(0, (hour-float64(returns))/5)) + 0.3*math.Sin(hour/24*2*math.Pi)
			bin += (room + 0.5 - bin) * (1 - math.Exp(-simStep/60.0/lag))
			if fedBefore > 0 && minute == (returns-fedBefore)*60 {
				sees.bin.Fed(now)
			}
			sees.air.Add(now, room+0.1*rng.NormFloat64())
			sees.bin.Add(now, math.Round((bin+0.1*rng.NormFloat64())*16)/16)
			if minute%60 != 50 {
				continue
			}
			got := trend.HeatingFit(&sees.bin, air, heatLimit, 12*time.Hour, now)
			if got.Self && got.Crossing.Within(now, 12*time.Hour) && !yield(minute/60) {
				return
			}
		}
	}
}

// A bin in a cellar without a probe in the air is fed six days after a feed that
// heated it for five. The new heat is told before it reaches the limit, though it
// is not yet above what the last one left.
func TestAFeedSoonAfterAHotOneIsToldWithoutAProbeInTheAir(t *testing.T) {
	const first, second = 4*24 + 12, 10*24 + 19 // h; when each feed is given
	heap := func(hours float64) float64 {       // its heat, K, as it would settle
		u := max(0, hours) / 36
		return 24 * math.Pow(u*math.Exp(1-u), 2)
	}
	rng := rand.New(rand.NewPCG(7, 11))
	bin, level := trend.NewTrack(), 16.0
	for minute := 0; level < heatLimit; minute += simStep {
		hour, now := float64(minute)/60, simTime(minute)
		if minute == first*60 || minute == second*60 {
			bin.Fed(now)
		}
		settles := 16 + 0.4*math.Sin(hour/24*2*math.Pi) + min(15, heap(hour-first)) + heap(hour-second)
		level += (settles - level) * (1 - math.Exp(-simStep/60.0/12))
		bin.Add(now, math.Round((level+0.05*rng.NormFloat64())*10)/10)
		if hour > second+6 && minute%60 == 50 {
			got := trend.HeatingFit(&bin, nil, heatLimit, 12*time.Hour, now)
			if got.Self && got.Crossing.Within(now, 12*time.Hour) {
				return
			}
		}
	}
	t.Errorf("%.1f °C, and not told", level)
}

// A probe jumps by five kelvin within ten minutes, some hours after a feed, and rises
// a little more. That is told at no hour to be the bin's own heat; the same rise
// without the jump is.
func TestAClimbInOneStepIsNoHeap(t *testing.T) {
	const fed, jumps = 8*24 + 7, 8*24 + 14 // h
	for _, jump := range []float64{0, 5} {
		bin, air, told := trend.NewTrack(), trend.NewTrack(), false
		for minute := 0; minute < (jumps+12)*60; minute += simStep {
			hour, now := float64(minute)/60, simTime(minute)
			if minute == fed*60 {
				bin.Fed(now)
			}
			level := 22 + 0.3*math.Sin(hour/24*2*math.Pi)
			if hour > jumps {
				level += jump + (7-jump)*(hour-jumps)/10
			}
			air.Add(now, 18)
			bin.Add(now, level)
			for _, room := range []*trend.Track{&air, nil} {
				told = told || hour > jumps && trend.HeatingFit(&bin, room, heatLimit, 12*time.Hour, now).Self
			}
		}
		if told != (jump == 0) {
			t.Errorf("a jump of %v K: told %v", jump, told)
		}
	}
}

// The sun on a dark bin: after ten dull days bright and broken ones. Hardly
// one in twenty bins may be told in a month to heat itself, seen with the
// air's probe in the shade, with one that hangs in the sun too, and without;
// never fed, and fed every week with what does not heat.
func TestTheSunIsNotTheBinsOwnHeat(t *testing.T) {
	efforttest.Long(t)
	raised, months := 0, 0.0
	for seed := range uint64(96) {
		c := sunCase{
			lag: []float64{2, 4, 8, 14}[seed%4], air: []float64{-1, 0, 0.5}[seed%3], fed: seed/3%2 == 0, dull: []int{10, 3, 17, 0}[seed/2%4],
		}
		got := c.raised(seed)
		months += 25.0 / 30
		raised += got
		if got > 0 {
			t.Logf("seed %d, %+v: raised %d times", seed, c, got)
		}
	}
	t.Logf("raised %d times in %.0f bin-months", raised, months)
	if float64(raised) > 0.05*months+1 {
		t.Errorf("raised %d times in %.0f bin-months, want at most five in a hundred", raised, months)
	}
}

// A sunCase is a bin in the sun.
type sunCase struct {
	lag  float64 // h
	air  float64 // part of the sun's warmth that the air's probe feels; below 0 there is none
	fed  bool    // every week
	dull int     // days before the sun comes out
}

// raised counts episodes within 25 days: raises more than a day apart.
func (c sunCase) raised(seed uint64) (episodes int) {
	rng := rand.New(rand.NewPCG(seed, 11))
	mean, sun := 10+8*rng.Float64(), 8+22*rng.Float64()
	room := simRoom(rng, mean, 3, 1)
	sees := tracked{bin: trend.NewTrack(), air: trend.NewTrack()}
	air := &sees.air
	if c.air < 0 {
		air = nil
	}
	bin, clear, passing, newest := mean, 0.0, 1.0, -100
	for minute := 0; minute < 25*24*60; minute += simStep {
		hour, now := float64(minute)/60, simTime(minute)
		if minute%(24*60) == 0 {
			if clear = 0.1 + 0.1*rng.Float64(); hour >= float64(c.dull*24) {
				clear = []float64{1, 0.9, 0.6, 0.2}[rng.IntN(4)]
			}
		}
		passing += 0.3*(0.8-passing) + 0.2*rng.NormFloat64()*(1-math.Abs(2*clear-1))
		shines := sun * clear * max(0, min(1.2, passing)) * max(0, math.Sin((math.Mod(hour, 24)-6)/12*math.Pi))
		bin += (room(hour) + shines - bin) * (1 - math.Exp(-simStep/60.0/c.lag))
		if c.fed && minute%(7*24*60) == (24+9)*60 {
			sees.bin.Fed(now)
		}
		sees.air.Add(now, room(hour)+max(0, c.air)*shines/2+0.1*rng.NormFloat64())
		sees.bin.Add(now, math.Round((bin+0.1*rng.NormFloat64())*16)/16)
		if minute%60 != 50 || bin > heatLimit {
			continue
		}
		got := trend.HeatingFit(&sees.bin, air, heatLimit, 12*time.Hour, now)
		if got.Self && got.Crossing.Within(now, 12*time.Hour) {
			if int(hour)-newest > 24 {
				episodes++
			}
			newest = int(hour)
		}
	}
	return episodes
}
