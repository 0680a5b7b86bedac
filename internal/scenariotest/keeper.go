package scenariotest

import (
	"math"
	"strconv"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/physics"
)

// grain is the feed of these cases: quick to heat.
var grain = physics.Foodstuff{Dry: 0.88, Quick: 0.75, Slow: 0.15}

// scraps are the small weekly feed of a quiet bin, which hardly warms it.
var scraps = physics.Foodstuff{Dry: 0.15, Quick: 0.50, Slow: 0.30}

// act does what the keeper does at this moment, if anything.
func (t *trial) act() {
	into := t.at.Sub(t.Case.Start)
	switch t.Case.Kind {
	case Heating:
		if t.warmer != nil && into%(7*24*time.Hour) == 57*time.Hour {
			t.sprinkle()
		}
		if into == t.feedingTime() {
			t.feed(grain, "grain", t.feedKg())
		}
	case Weekly:
		if into%(7*24*time.Hour) == 57*time.Hour {
			t.sprinkle()
		}
		t.ration(int64(into/(7*24*time.Hour)), into%(7*24*time.Hour))
	case Quiet:
		if into%(7*24*time.Hour) == 33*time.Hour {
			t.visit()
		}
	}
}

// feedingTime is some hour of the fourth day, on a sample.
func (t *trial) feedingTime() time.Duration {
	if t.warmer != nil {
		return t.warmer.feedAt
	}
	return 72*time.Hour + time.Duration(t.dice.Named("feed").Between(0, 0, 24*6))*sampling
}

// ration gives grain at an hour of the fourth to sixth day of a week, from a trifle
// to what cooks the bin; every fourth time more follows within a day.
func (t *trial) ration(week int64, into time.Duration) {
	d := t.dice.Named("ration " + strconv.FormatInt(week, 10))
	first := 72*time.Hour + time.Duration(d.Between(0, 0, 60*6))*sampling
	more := first + time.Duration(d.Between(1, 6*6, 24*6))*sampling
	kg := t.DryKg * math.Exp(d.Between(2, math.Log(0.01), math.Log(0.2)))
	switch {
	case into == first:
		t.feed(grain, "grain", math.Round(10*kg)/10)
	case into == more && d.Uniform(3) < 0.25:
		t.feed(grain, "grain", math.Round(7*kg)/10)
	}
}

// feedKg is what the case says, else three to twelve kilograms for each hundred of
// dry matter: from hardly noticed to a bin past saving.
func (t *trial) feedKg() float64 {
	if t.Case.FeedKg > 0 {
		return t.Case.FeedKg
	}
	most := 0.12
	if t.warmer != nil {
		most = 0.2
	}
	return math.Round(10*t.DryKg*t.dice.Named("feed").Between(1, 0.03, most)) / 10
}

// visit is the weekly round at a quiet bin: water when it has sunk, and a
// little feed for worms.
func (t *trial) visit() {
	below, upTo := 74.0, 77.0
	if t.Case.Bin == Tub {
		below, upTo = 44, 47
	}
	if m := t.heap.Moisture(); m < below {
		litres := t.heap.DryKg() * (physics.Ratio(upTo) - physics.Ratio(m))
		t.water(max(0.1, math.Round(10*litres)/10))
	}
	if t.Case.Bin != Tub && (t.warmer == nil || t.Case.Seed%4 < 2) {
		t.feed(scraps, "scraps", math.Round(10*0.03*t.DryKg)/10)
	}
}

// sprinkle replaces what a warm bin has lost, so that its feed can heat.
func (t *trial) sprinkle() {
	if m := t.heap.Moisture(); m < 72 {
		t.water(math.Round(10*t.heap.DryKg()*(physics.Ratio(76)-physics.Ratio(m))) / 10)
	}
}

func (t *trial) water(litres float64) {
	t.heap.Put(physics.Water(litres, t.room.TempC))
	t.Jots = append(t.Jots, farm.Jot{At: t.at, Bin: BinName, Zone: ZoneName, What: farm.Watered, Litres: litres, By: "mqtt"})
}

func (t *trial) feed(f physics.Foodstuff, of string, kg float64) {
	p := f.Portion(kg, t.room.TempC)
	if t.inert {
		p.FoodKg, p.SlowKg = 0, 0
	}
	t.heap.Put(p)
	t.Jots = append(t.Jots, farm.Jot{At: t.at, Bin: BinName, Zone: ZoneName, What: farm.Fed, Kg: kg, Of: of, By: "mqtt"})
}
