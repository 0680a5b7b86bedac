package ingest_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
)

// An honest probe must never be doubted: four years of real weather in an
// unheated shed, with probes of every usual resolution and interval. The
// resolution 0.0625 °C is the DS18B20's (datasheet, Maxim Integrated 2019).
func TestShedWeatherIsNeverDoubted(t *testing.T) {
	efforttest.Long(t)
	w := readWeather(t)
	for _, step := range []float64{0.0625, 0.5, 1} {
		for _, tau := range []time.Duration{time.Minute, 6 * time.Hour, 36 * time.Hour, 20 * 24 * time.Hour} {
			for every, days := range map[time.Duration]int{time.Minute: 60, 10 * time.Minute: w.days(), time.Hour: w.days()} {
				t.Run(fmt.Sprintf("step %v every %v tau %v", step, every, tau), func(t *testing.T) {
					t.Parallel()
					d := newTester(lone(farm.Temperature, every))
					rng := rand.New(rand.NewPCG(1, uint64(tau)))
					m := damped{tau: tau}
					for at := w.first; at.Before(w.first.AddDate(0, 0, days)); at = at.Add(every) {
						v := m.follow(w.at(at), every) + 0.03*rng.NormFloat64()
						d.say("p", at, coarse(v, step))
					}
					d.none(t)
				})
			}
		}
	}
}

// The same in a farm with neighbours: air, a bed with a probe near the top and
// one deep in it, and a crate in a cool store; with gaps from an hour to
// ten days.
func TestFarmWeatherIsNeverDoubted(t *testing.T) {
	efforttest.Long(t)
	w := readWeather(t)
	for _, tt := range []struct {
		step          float64
		gaps, ambient bool
		every         time.Duration
	}{
		{0.0625, false, true, tenMinutes}, {0.0625, true, false, tenMinutes}, {0.5, true, true, tenMinutes},
		{1, false, true, tenMinutes}, {1, true, false, tenMinutes},
		{0.0625, true, true, time.Hour}, {0.0625, false, true, 2 * time.Hour}, {0.0625, true, true, 6 * time.Hour},
	} {
		t.Run(fmt.Sprintf("%+v", tt), func(t *testing.T) {
			t.Parallel()
			f := nursery(tt.every)
			if !tt.ambient {
				f.Bins[0].Ambient = ""
			}
			farmWeather(t, newTester(f), w, tt.step, tt.gaps, tt.every)
		})
	}
}

func farmWeather(t *testing.T, d *tester, w weather, step float64, gaps bool, every time.Duration) {
	rng := rand.New(rand.NewPCG(7, 7))
	probes := []struct {
		id string
		m  damped
	}{
		{"air", damped{tau: time.Minute}},
		{"bed-top", damped{tau: 8 * time.Hour}},
		{"bed-deep", damped{tau: 48 * time.Hour}},
		{"far-t", damped{tau: 12 * time.Hour}},
		{"crate-t", damped{tau: 15 * 24 * time.Hour}},
	}
	silent := make([]time.Time, len(probes))
	for at := w.first; at.Before(w.first.AddDate(0, 0, w.days())); at = at.Add(every) {
		for i := range probes {
			v := probes[i].m.follow(w.at(at), every) + 0.03*rng.NormFloat64()
			if gaps && rng.IntN(3000) == 0 {
				silent[i] = at.Add(time.Duration(1+rng.IntN(240)) * time.Hour)
			}
			if at.After(silent[i]) {
				d.say(probes[i].id, at.Add(time.Duration(i)*time.Second), coarse(v, step))
			}
		}
	}
	d.none(t)
}
