package ingest_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
)

// twinSeeds are the beds that are tried: a few of them always, all of them where
// there is time.
func twinSeeds() uint64 {
	return uint64(efforttest.Cases(12, 400))
}

// A bed of two ends for four months: each feeding heats one end or the other by
// up to 20 K, within half a day to four days, for days or weeks, most of them
// jotted nowhere. The room has its weather; each end follows it in its own time.
// That much heat is from memory of hot beds, the rest is common practice, no
// source. None of it is a probe's fault.
func TestFeedAtOneEndIsNeverDoubted(t *testing.T) {
	efforttest.Long(t)
	w := readWeather(t)
	for seed := range twinSeeds() {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(seed, 12))
			every := []time.Duration{tenMinutes, tenMinutes, 30 * time.Minute, time.Hour, 2 * time.Hour}[rng.IntN(5)]
			f := nursery(every)
			if rng.IntN(2) == 0 {
				f.Bins[0].Ambient = ""
			}
			d := newTester(f)
			ends := [2]*bedEnd{newBedEnd(rng), newBedEnd(rng)}
			step := []float64{0.0625, 0.1, 0.5}[rng.IntN(3)]
			begin := w.first.AddDate(0, 0, rng.IntN(1200))
			fed := begin.AddDate(0, 0, 6)
			for at := begin; at.Before(begin.AddDate(0, 4, 0)); at = at.Add(every) {
				if !at.Before(fed) {
					end := ends[rng.IntN(2)]
					end.feed(rng, at)
					if rng.IntN(4) == 0 {
						d.Jotted(farm.Jot{At: at.Add(30 * time.Minute), Bin: "bed", What: farm.Fed})
					}
					fed = at.Add(time.Duration(4+rng.IntN(17)) * 24 * time.Hour)
				}
				room := w.at(at)
				d.say("air", at, coarse(room, 0.0625))
				for i, id := range []string{"bed-top", "bed-deep"} {
					v := ends[i].at(at, room, every) + 0.04*rng.NormFloat64()
					d.say(id, at.Add(time.Duration(1+i)*time.Second), coarse(v, step))
				}
			}
			d.none(t)
		})
	}
}

// A bedEnd is one end of a bed: it follows its room, and heats where it was fed.
type bedEnd struct {
	body  damped
	warm  float64 // K above the room at rest
	fires []fire
}

type fire struct {
	at                 time.Time
	peak               float64 // K
	rise, lasts, fades float64 // h
}

func newBedEnd(rng *rand.Rand) *bedEnd {
	return &bedEnd{body: damped{tau: time.Duration(4+rng.IntN(60)) * time.Hour}, warm: 6 * rng.Float64()}
}

func (e *bedEnd) feed(rng *rand.Rand, at time.Time) {
	e.fires = append(e.fires, fire{at, 3 + 17*rng.Float64(), 12 + 84*rng.Float64(), 24 * 10 * rng.Float64() * rng.Float64(), 24 * (1 + 6*rng.Float64())})
}

func (e *bedEnd) at(at time.Time, room float64, dt time.Duration) float64 {
	v := e.body.follow(room, dt) + e.warm
	for _, f := range e.fires {
		h := at.Sub(f.at).Hours()
		up := 1 / (1 + math.Exp(-8*(h/f.rise-0.5)))
		down := 1.0
		if over := h - f.rise - f.lasts; over > 0 {
			down = math.Exp(-over / f.fades)
		}
		v += f.peak * (up - 1/(1+math.Exp(4))) * down
	}
	return v
}
