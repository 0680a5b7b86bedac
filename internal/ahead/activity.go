package ahead

import (
	"math"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// An activity is how busy the worms of a bin were and will be, day by day.
type activity struct {
	from int64     // the first day, as days since 1970
	sum  []float64 // of the days before each, 0 to 1 a day
}

func dayNumber(t time.Time) int64 { return t.Unix() / int64(day/time.Second) }

// roomC is taken where no temperature is known at all: that of a room. A choice.
const roomC = 18

// activity goes by the temperature of a bin's living zone, else that of the air at it:
// as it was; for days to come as it was a year before, and where nothing is known of
// those, as it is now.
func (b *Book) activity(bin *farm.Bin, until time.Time) activity {
	known := b.warmth(bin)
	const year = 365
	a, today := activity{from: dayNumber(b.View.At) - PastDays}, dayNumber(b.View.At)
	now, worms := b.warmNow(bin), husbandry.WormsOf(b.Farm, *bin)
	total := 0.0
	for d := a.from; d <= dayNumber(until)+1; d++ {
		a.sum = append(a.sum, total)
		tempC, ok := known.on(d)
		if !ok && d > today {
			tempC, ok = known.on(d - year)
		}
		if !ok {
			tempC = now
		}
		for _, w := range worms {
			total += w.Part * husbandry.Activity(w.Species, tempC, math.NaN())
		}
	}
	return a
}

// warmNow is how warm a bin is at present.
func (b *Book) warmNow(bin *farm.Bin) float64 {
	for _, v := range b.View.Bins {
		for _, z := range v.Zones {
			if l := z.Level(farm.Temperature); z.Bin == bin.Name && l != nil {
				return l.Value
			}
		}
	}
	if air := b.Warm[farm.Place{Bin: bin.Name}]; len(air) > 0 {
		return air[len(air)-1].Mean
	}
	return roomC
}

// days is the days of full activity between two times.
func (a activity) days(from, to time.Time) float64 { return max(0, a.at(to)-a.at(from)) }

// at is the sum up to a time, in a straight line within a day.
func (a activity) at(t time.Time) float64 {
	x := float64(t.Unix())/day.Seconds() - float64(a.from)
	i := int(math.Floor(x))
	switch {
	case i < 0:
		return 0
	case i+1 >= len(a.sum):
		return a.sum[len(a.sum)-1]
	}
	return a.sum[i] + (x-float64(i))*(a.sum[i+1]-a.sum[i])
}

// A daily is a temperature by days, NaN where it is not known.
type daily struct {
	from  int64 // a day number
	tempC []float64
}

func (d daily) on(day int64) (tempC float64, known bool) {
	if i := day - d.from; i >= 0 && i < int64(len(d.tempC)) {
		return d.tempC[i], !math.IsNaN(d.tempC[i])
	}
	return 0, false
}

// warmth is the temperature of a bin by days: that of its living zone, else of the air at it.
func (b *Book) warmth(bin *farm.Bin) daily {
	known := daily{dayNumber(b.View.At) - PastDays, make([]float64, PastDays+2)}
	for i := range known.tempC {
		known.tempC[i] = math.NaN()
	}
	take := func(p farm.Place) {
		for _, s := range b.Warm[p] {
			if i := dayNumber(s.At) - known.from; i >= 0 && i < int64(len(known.tempC)) {
				known.tempC[i] = s.Mean
			}
		}
	}
	take(farm.Place{Bin: bin.Name})
	for _, z := range bin.Zones {
		if z.Aim == farm.Living {
			take(farm.Place{Bin: bin.Name, Zone: z.Name})
		}
	}
	return known
}
