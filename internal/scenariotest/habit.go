package scenariotest

import (
	"iter"
	"math"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/physics"
)

// Family is how a keeper comes to water a bin.
type Family string

const (
	ByCalendar Family = "calendar" // on the same day of the week, or the one beside it
	ByCount    Family = "count"    // every so many days, give or take one
	ByFeel     Family = "feel"     // once it feels dry, looked at each morning
	Quickens   Family = "quickens" // likewise, in a room that dries it twice as fast from half-way on
	Whim       Family = "whim"     // when it strikes him: any day is as likely as the other
	Neglect    Family = "neglect"  // only when the bin has come to harm
)

// Families are all of them; those in the first three have a rhythm from the beginning to the end.
var Families = []Family{ByCalendar, ByCount, ByFeel, Quickens, Whim, Neglect}

// A Habit is some months of a bin that a keeper waters in his own way. Its moisture falls
// as the weather of each day has it, and rises with the can; the probe reads it with noise.
type Habit struct {
	Family Family
	Seed   uint64
	Start  time.Time
	Days   int
}

// Habits are n cases of a family with seeds that count up from the one given.
func Habits(family Family, n int, seed uint64, start time.Time) (cases []Habit) {
	for i := range n {
		cases = append(cases, Habit{Family: family, Seed: seed + uint64(i), Start: start, Days: 120})
	}
	return cases
}

// A Watered is a habit being lived through.
type Watered struct {
	Habit
	At    time.Time
	DryKg float64

	dice     physics.Dice
	ratio    float64 // kg of water per kg dry
	perDay   float64 // it loses, kg/kg
	every    float64 // days
	drySense float64 // % at which it feels dry to this keeper
	fill     float64 // % up to which it is watered
	next     int     // day of the next visit, by calendar, count and whim
	visits   int64
}

// Begin sets the bin up.
func (h Habit) Begin() *Watered {
	d := physics.Dice(h.Seed).Named("habit" + string(h.Family))
	w := &Watered{Habit: h, At: h.Start, dice: d, DryKg: d.Between(1, 5, 25), ratio: physics.Ratio(d.Between(2, 75, 78)), fill: d.Between(3, 76, 79)}
	w.every = math.Round(d.Between(4, 4, 10))
	if h.Family == ByCalendar {
		w.every = 7
	}
	w.drySense = d.Between(5, 66, 69.5)
	// What it loses brings it from the can to a little past its thrive limit of 70 %.
	w.perDay = (physics.Ratio(w.fill) - physics.Ratio(w.drySense)) / w.every
	if h.Family == Neglect {
		w.drySense = d.Between(5, 55, 59)
	}
	w.next = w.nextVisit(0)
	return w
}

// nextVisit is the day of the visit after one on some day.
func (w *Watered) nextVisit(day int) int {
	w.visits++
	off := math.Round(1.2 * (w.dice.Named("off").Uniform(w.visits) - 0.5) * 2) // -1, 0 or 1
	switch w.Family {
	case ByCalendar:
		return int(float64(w.visits)*7 + off)
	case Whim:
		return day + 1 + int(-w.every*math.Log(w.dice.Named("whim").Uniform(w.visits)))
	}
	return day + max(1, int(w.every+off))
}

// Moisture is the true one, % wet basis.
func (w *Watered) Moisture() float64 { return 100 * w.ratio / (1 + w.ratio) }

// Farm is the bin's farm as a configuration would give it.
func (w *Watered) Farm(species []farm.Species, feeds []farm.Feed) farm.Farm {
	soaked := (&Soaked{Soaking: Soaking{Told: 1}, VolumeL: w.DryKg / 0.18}).Farm(species, feeds)
	soaked.Bins[0].Zones[0].DryMassKg = w.DryKg
	soaked.Probes[0].Every = time.Hour
	return soaked
}

// Events are what the rules get, in order: a reading an hour, and at nine in the morning
// the keeper, who comes when he does.
func (w *Watered) Events() iter.Seq[farm.Event] {
	return func(yield func(farm.Event) bool) {
		if !yield(farm.Event{Arrived: w.At, Kind: farm.EventStart}) || !yield(farm.Event{Arrived: w.At, Kind: farm.EventLink, Up: true}) {
			return
		}
		for hour := range w.Days * 24 {
			w.At = w.At.Add(time.Hour)
			day := hour / 24
			weather := math.Exp(0.2 * w.dice.Named("weather").Normal(int64(day)))
			if w.Family == Quickens && day > w.Days/2 {
				weather *= 2
			}
			w.ratio = max(0.6, w.ratio-w.perDay*weather/24)
			if w.At.Hour() == 9 && w.comes(day) {
				litres := math.Round(10*max(0.1, w.DryKg*(physics.Ratio(w.fill)-w.ratio))) / 10
				w.ratio += litres / w.DryKg
				if !yield(farm.Event{Arrived: w.At, Kind: farm.EventJot, Jot: farm.Jot{At: w.At, Bin: BinName, Zone: ZoneName, What: farm.Watered, Litres: litres}}) {
					return
				}
			}
			v := w.Moisture() + 0.4*w.dice.Named("noise").Normal(int64(hour))
			if !yield(farm.Event{Arrived: w.At, Kind: farm.EventReading, Reading: farm.Reading{Probe: MoistProbe, At: w.At, Raw: v, Value: v}}) {
				return
			}
		}
	}
}

// comes tells whether the keeper waters this morning.
func (w *Watered) comes(day int) bool {
	switch w.Family {
	case ByFeel, Quickens, Neglect:
		return w.Moisture() < w.drySense+0.5*w.dice.Named("feel").Normal(int64(day))
	}
	if day < w.next {
		return false
	}
	w.next = w.nextVisit(day)
	return true
}
