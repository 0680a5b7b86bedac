package acceptancetest

import (
	"math/rand/v2"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
	"binwatchd/internal/rules"
)

// A DropScore is what is told of devices that drop out.
type DropScore struct {
	Weeks float64 // of devices
	Drops int     // times that one dropped out
	Told  int     // times that one of its probes was raised as silent
}

// DropOuts lets devices of two probes each drop out in one night or another, more or less
// often, for hours, for twelve weeks each, beside a probe that speaks on.
func DropOuts(n int, seed uint64, start time.Time) (s DropScore) {
	const every, weeks = 10 * time.Minute, 12
	for i := range n {
		rng := rand.New(rand.NewPCG(seed+uint64(i), 6))
		f := &farm.Farm{Name: "Hillfoot Nursery", Location: time.UTC, Species: husbandry.Species(), Feeds: husbandry.Feeds()}
		ids := []string{"node-t", "node-m", "well-t"}
		for k, q := range []farm.Quantity{farm.Temperature, farm.Moisture, farm.Temperature} {
			f.Probes = append(f.Probes, farm.Probe{ID: ids[k], Topic: ids[k], Measures: q, Every: every})
		}
		z := farm.Zone{Name: "all", Aim: farm.Living, Probes: ids, Share: 1, Patience: 30 * time.Minute,
			Margin: map[farm.Quantity]float64{farm.Temperature: 0.5, farm.Moisture: 2}}
		f.Bins = []farm.Bin{{Name: "bed", VolumeL: 160, Species: []farm.Share{{Species: "red", Fraction: 1}}, Zones: []farm.Zone{z}}}
		state := rules.New(f)
		step := func(e farm.Event) {
			for _, ch := range state.Step(e) {
				if ch.Condition == farm.Silent && ch.Change == farm.Raised {
					s.Told++
				}
			}
		}
		step(farm.Event{Kind: farm.EventStart, Arrived: start})
		step(farm.Event{Kind: farm.EventLink, Arrived: start, Up: true})
		often, phase, back := 0.2+0.6*rng.Float64(), time.Duration(rng.IntN(600))*time.Second, start
		var away time.Time
		for at := start; at.Before(start.AddDate(0, 0, 7*weeks)); at = at.Add(every) {
			if at.Hour() == 23 && at.Minute() == 0 && rng.Float64() < often {
				away = at.Add(time.Duration(rng.IntN(240)) * time.Minute)
				back = away.Add(time.Duration(60+rng.IntN(300)) * time.Minute)
				s.Drops++
			}
			say := func(k int, after time.Duration, v float64) {
				if k < 2 && !away.IsZero() && !at.Before(away) && at.Before(back) {
					return
				}
				t := at.Add(after)
				step(farm.Event{Kind: farm.EventReading, Arrived: t, Reading: farm.Reading{Probe: ids[k], At: t, Raw: v, Value: v}})
			}
			say(2, 0, 19)
			say(0, phase, 20)
			say(1, phase+time.Second, 76)
		}
		s.Weeks += weeks
	}
	return s
}
