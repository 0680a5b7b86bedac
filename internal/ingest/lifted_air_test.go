package ingest_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

// A thermometer that came out of the bin reads the air. It is not believed for
// lasting; and what a bin and its keeper really do comes through.
func TestAirIsNotTheBin(t *testing.T) {
	const d = 24.0
	always := func(from float64) []span { return []span{{from, math.Inf(1)}} }
	swing := func(mean, by float64) func(float64) float64 {
		return func(h float64) float64 { return mean + by*math.Sin((h-9)*math.Pi/12) }
	}
	until := func(end float64, a, b func(float64) float64) func(float64) float64 {
		return func(h float64) float64 {
			if h < end {
				return a(h)
			}
			return b(h)
		}
	}
	steady := func(v float64) func(float64) float64 { return func(float64) float64 { return v } }
	off := func(by float64, f func(float64) float64) func(float64) float64 {
		return func(h float64) float64 { return f(h) + by }
	}
	// A body with a time constant follows the air it was brought into.
	follows := func(from, tau float64, room func(float64) float64) func(float64) float64 {
		v, last := from, 0.0
		return func(h float64) float64 {
			for ; last < h; last += 1.0 / 60 {
				v += (room(last) - v) * (1 - math.Exp(-1/(60*tau)))
			}
			return v
		}
	}
	shed, cellar := swing(13, 5), swing(13, 0.3)
	bin := 22.0
	stories := []story{
		{name: "on the bench for ten days", every: tenMinutes, room: shed, says: shed, long: 10 * 24 * hour, doubted: always(0)},
		{name: "on the bench in a steady cellar", every: tenMinutes, room: cellar, says: cellar, long: 10 * 24 * hour, doubted: always(0)},
		{name: "on a bench a little warmer than the air's probe", every: tenMinutes, room: shed, says: off(1.2, shed), long: 10 * 24 * hour, doubted: always(0)},
		{name: "in a room that gets as warm as the bin each day", every: tenMinutes, room: swing(16, 7), says: swing(16, 7), long: 10 * 24 * hour, doubted: always(0)},
		{name: "hourly", every: hour, room: swing(10, 3), says: swing(10, 3), long: 10 * 24 * hour, doubted: always(0)},
		{name: "hourly, and the configuration says ten minutes", every: hour, told: tenMinutes, room: swing(10, 3), says: swing(10, 3), long: 10 * 24 * hour, doubted: always(0)},
		{name: "every minute, and the configuration says ten", every: time.Minute, told: tenMinutes, room: shed, says: shed, long: 5 * 24 * hour, doubted: always(0)},
		{name: "every two hours", every: 2 * hour, room: swing(13, 2), says: swing(13, 2), long: 10 * 24 * hour, doubted: always(0)},
		{name: "every six hours", every: 6 * hour, room: swing(13, 2), says: swing(13, 2), long: 10 * 24 * hour, doubted: always(0)},
		{name: "every six hours, a heat wave makes a small bin as warm as its room", every: 6 * hour, room: swing(31, 4), says: follows(22, 6, swing(31, 4)), long: 5 * 24 * hour, believed: always(0)},
		{name: "forgotten when the bin was fed", every: tenMinutes, room: shed, says: shed, jots: map[time.Duration]farm.JotKind{hour / 2: farm.Fed}, long: 10 * 24 * hour, doubted: always(0)},
		{name: "put back after four days", every: tenMinutes, room: shed, says: until(4*d, shed, steady(bin)), long: 6 * 24 * hour, doubted: []span{{0, 4 * d}}, believed: []span{{4*d + 0.4, 6 * d}}},
		{name: "put back into a bin that has cooled to 16", every: tenMinutes, room: swing(9, 3), says: until(4*d, swing(9, 3), steady(16)), long: 6 * 24 * hour, doubted: []span{{0, 4 * d}}, believed: []span{{4*d + 6.5, 6 * d}}},
		{name: "emptied and filled anew, and jotted", every: tenMinutes, room: shed, says: follows(14, 20, shed), jots: map[time.Duration]farm.JotKind{hour: farm.Emptied}, long: 3 * 24 * hour, believed: []span{{2, 3 * d}}},
		{name: "the room's by the keeper's word, told two days later", every: tenMinutes, room: cellar, says: cellar, jots: map[time.Duration]farm.JotKind{48 * hour: farm.Turned}, long: 4 * 24 * hour, doubted: []span{{0, 48}}, believed: []span{{49, 4 * d}}},
		{name: "turned, and heating again", every: tenMinutes, room: shed, says: func(h float64) float64 { return min(14+0.3*h, 30) }, jots: map[time.Duration]farm.JotKind{0: farm.Turned}, long: 3 * 24 * hour, believed: []span{{25, 3 * d}}},
		{name: "cold water poured on", every: tenMinutes, room: shed, says: func(h float64) float64 { return 22 - 3.5*math.Exp(-h/6) }, long: 2 * 24 * hour, believed: []span{{3, 2 * d}}},
		{name: "no air measured: a lifted probe swings with the day", every: tenMinutes, says: shed, long: 10 * 24 * hour, doubted: always(0)},
		{name: "no air measured: the same hourly, in a room that swings by 3 K", every: hour, says: swing(12, 3), long: 10 * 24 * hour, doubted: always(0)},
		{name: "no air measured: a hot core turned up", every: tenMinutes, says: func(h float64) float64 { return 36 - 0.1*h }, long: 3 * 24 * hour, believed: []span{{7, 3 * d}}},
		{name: "a small bin brought out into the frost", every: tenMinutes, room: steady(20), says: follows(22, 4, steady(-6)), long: 2 * 24 * hour, believed: always(0)},
		{name: "the same, hourly", every: hour, room: steady(20), says: follows(22, 8, steady(-6)), long: 2 * 24 * hour, believed: always(0)},
		{name: "a heat wave makes a small bin as warm as its room", every: tenMinutes, room: swing(31, 4), says: follows(22, 6, swing(31, 4)), long: 5 * 24 * hour, believed: always(0)},
		{name: "a fast climb to 40 by feed", every: hour, room: shed, says: func(h float64) float64 { return min(22+2.5*h, 40) }, long: 2 * 24 * hour, believed: always(0)},
		{name: "the same every two hours", every: 2 * hour, room: shed, says: func(h float64) float64 { return min(22+2.5*h, 40) }, long: 2 * 24 * hour, believed: always(0)},
		{name: "the same every six hours", every: 6 * hour, room: shed, says: func(h float64) float64 { return min(22+2.5*h, 40) }, long: 2 * 24 * hour, believed: always(0)},
	}
	for _, s := range stories {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			s.tell(t, farm.Temperature, func(h float64) float64 { return bin + 0.4*math.Sin(h*math.Pi/12) }, 0.08)
		})
	}
}

// A tub of castings that is always as warm as its room is not doubted when a
// door is opened in the winter, however thin it is.
func TestATubThatFollowsItsRoomIsNotDoubted(t *testing.T) {
	for _, tau := range []time.Duration{15 * time.Minute, time.Hour, 4 * time.Hour} {
		for _, every := range []time.Duration{tenMinutes, hour} {
			t.Run(fmt.Sprint(tau, " every ", every), func(t *testing.T) {
				f := lone(farm.Temperature, every)
				f.Probes = append(f.Probes, probe("air", farm.Temperature, every))
				f.Bins[0].Ambient = "air"
				d := newTester(f)
				tub, air := damped{tau: tau}, damped{tau: 30 * time.Minute}
				for at := spring; at.Before(spring.AddDate(0, 0, 40)); at = at.Add(every) {
					h := at.Sub(spring).Hours()
					out := 15 + 2*math.Sin(h*math.Pi/12)
					if day := int(h / 24); day > 10 && day%7 == 0 && math.Mod(h, 24) > 10 && math.Mod(h, 24) < 12 {
						out -= 9 // the door stands open
					}
					room := air.follow(out, every)
					d.say("air", at, coarse(room, 0.0625))
					d.say("p", at.Add(time.Second), coarse(tub.follow(room, every), 0.0625))
				}
				d.none(t)
			})
		}
	}
}
