package ingest_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"binwatchd/internal/farm"
)

const hour = time.Hour

// A story is what one probe says after ten quiet days, by hours since then.
type story struct {
	name  string
	every time.Duration
	told  time.Duration // the every of the configuration, where it is another
	says  func(h float64) float64
	room  func(h float64) float64 // nil: no air is measured
	jots  map[time.Duration]farm.JotKind
	long  time.Duration
	// wants are the doubts that may and must hold at given times.
	doubted, believed []span
}

// A span of time since the story began, in hours.
type span struct{ from, to float64 }

func (s span) has(h float64) bool { return h >= s.from && h < s.to }

// tell runs a story for a probe with some noise and gives every reading's doubt.
func (s story) tell(t *testing.T, q farm.Quantity, before func(h float64) float64, noise float64) {
	t.Helper()
	told := s.every
	if s.told != 0 {
		told = s.told
	}
	f := lone(q, told)
	if s.room != nil {
		f.Probes = append(f.Probes, probe("air", farm.Temperature, told))
		f.Bins[0].Ambient = "air"
	}
	d := newTester(f)
	rng := rand.New(rand.NewPCG(8, uint64(noise*10)))
	begin := spring.AddDate(0, 0, 10)
	wrong := 0
	for at := spring; at.Before(begin.Add(s.long)); at = at.Add(s.every) {
		h := at.Sub(begin).Hours()
		for after, what := range s.jots {
			if to := begin.Add(after); !at.Before(to) && at.Add(-s.every).Before(to) {
				d.Jotted(farm.Jot{At: to, Bin: "bin", What: what})
			}
		}
		v := before(h)
		if h >= 0 {
			v = s.says(h)
		}
		if s.room != nil {
			d.say("air", at, coarse(s.room(h), 0.0625))
		}
		if q == farm.Moisture {
			v = min(max(v+noise*rng.NormFloat64(), 0), 100)
		} else {
			v = coarse(v+noise*rng.NormFloat64(), 0.0625)
		}
		doubt := d.say("p", at, v)
		bad := h < 0 && doubt != farm.NoDoubt
		for _, in := range s.doubted {
			bad = bad || in.has(h) && doubt == farm.NoDoubt
		}
		for _, in := range s.believed {
			bad = bad || in.has(h) && doubt != farm.NoDoubt
		}
		if bad {
			if wrong++; wrong < 4 {
				t.Errorf("%.1f h on, %.1f: doubt %q", h, v, doubt)
			}
		}
	}
	if wrong > 0 {
		t.Errorf("%d readings judged otherwise than they should be", wrong)
	}
}

// A moisture probe that came out of the bin is not believed, however long it
// says so; and what really happened to the bin comes through.
func TestAFallThatNoBinMakes(t *testing.T) {
	const d = 24.0
	always := func(from float64) []span { return []span{{from, math.Inf(1)}} }
	fall := func(to, hours float64) func(float64) float64 {
		return func(h float64) float64 { return to + (72-to)*math.Exp(-h/(hours/3)) }
	}
	stories := []story{
		{name: "left on the bench for two weeks", every: tenMinutes, says: fall(6, 0.3), long: 14 * 24 * hour, doubted: always(0.2)},
		{name: "drying on the bench over half a day", every: tenMinutes, says: fall(6, 12), long: 14 * 24 * hour, doubted: always(2)},
		{name: "drying on the bench over a day", every: tenMinutes, says: fall(9, 24), long: 14 * 24 * hour, doubted: always(3)},
		{name: "in air that its calibration calls 28 %", every: tenMinutes, says: fall(28, 0.5), long: 14 * 24 * hour, doubted: always(0.3)},
		{name: "on the bench, the room's damp coming and going", every: tenMinutes, says: func(h float64) float64 { return 14 + 7*math.Sin(h/4) }, long: 10 * 24 * hour, doubted: always(0)},
		{name: "hourly", every: hour, says: fall(6, 1), long: 10 * 24 * hour, doubted: always(1)},
		{name: "hourly, and the configuration says ten minutes", every: hour, told: tenMinutes, says: fall(6, 1), long: 10 * 24 * hour, doubted: always(1)},
		{name: "every six hours", every: 6 * hour, says: fall(6, 1), long: 20 * 24 * hour, doubted: always(1)},
		{name: "every ten seconds", every: 10 * time.Second, says: fall(6, 0.5), long: 4 * 24 * hour, doubted: always(0.4)},
		{name: "forgotten when the bin was fed", every: tenMinutes, says: fall(6, 0.3), jots: map[time.Duration]farm.JotKind{hour: farm.Fed}, long: 10 * 24 * hour, doubted: always(0.2)},
		{name: "forgotten when it was turned", every: tenMinutes, says: fall(6, 0.3), jots: map[time.Duration]farm.JotKind{hour / 2: farm.Turned}, long: 10 * 24 * hour, doubted: always(0.2)},
		{name: "watered because it said so", every: tenMinutes, says: fall(6, 0.3), jots: map[time.Duration]farm.JotKind{30 * hour: farm.Watered}, long: 10 * 24 * hour, doubted: always(0.2)},
		{name: "put back after a week", every: tenMinutes, says: func(h float64) float64 {
			if h < 7*d {
				return 6
			}
			return 65
		}, long: 9 * 24 * hour, doubted: []span{{0, 7 * d}}, believed: []span{{7*d + 1, 9 * d}}},
		{name: "put back after a month in which it dried to 45", every: tenMinutes, says: func(h float64) float64 {
			if h < 30*d {
				return 6
			}
			return 45
		}, long: 32 * 24 * hour, doubted: []span{{0, 30 * d}}, believed: []span{{30*d + 13, 32 * d}}},
		{name: "emptied and filled with dry bedding", every: tenMinutes, says: func(float64) float64 { return 14 }, jots: map[time.Duration]farm.JotKind{hour / 2: farm.Emptied}, long: 5 * 24 * hour, believed: []span{{2, 5 * d}}},
		{name: "moved for good to a dry corner, and said so three days later", every: tenMinutes, says: func(float64) float64 { return 24 },
			jots: map[time.Duration]farm.JotKind{72 * hour: farm.Turned}, long: 6 * 24 * hour, doubted: []span{{0, 72}}, believed: []span{{73, 6 * d}}},
		{name: "bedded with dry paper", every: tenMinutes, says: func(float64) float64 { return 33 }, jots: map[time.Duration]farm.JotKind{0: farm.Bedded}, long: 3 * 24 * hour, believed: []span{{1, 3 * d}}},
		// These five were believed after half a day at rest. No bin makes such a fall
		// either, and it is told as suspect with what to do, so it waits for a word.
		{name: "an air gap around the probe", every: tenMinutes, says: func(float64) float64 { return 50 }, long: 10 * 24 * hour, doubted: always(0)},
		{name: "in air that its calibration calls 40 %", every: tenMinutes, says: fall(40, 0.5), long: 10 * 24 * hour, doubted: always(0.4)},
		{name: "replaced by one that reads 14 points less", every: tenMinutes, says: func(float64) float64 { return 58 }, long: 10 * 24 * hour, doubted: always(0)},
		{name: "the same, jotted as fed an hour later", every: tenMinutes, says: func(float64) float64 { return 58 }, jots: map[time.Duration]farm.JotKind{hour: farm.Fed}, long: 3 * 24 * hour, doubted: []span{{0, 0.7}}, believed: []span{{2, 3 * d}}},
		{name: "dry paper dug in, and jotted three days later", every: tenMinutes, says: func(h float64) float64 { return 55 - 0.02*h },
			jots: map[time.Duration]farm.JotKind{72 * hour: farm.Bedded}, long: 6 * 24 * hour, doubted: []span{{0, 72}}, believed: []span{{72.5, 6 * d}}},
		{name: "dries to 20 % in three weeks", every: tenMinutes, says: func(h float64) float64 { return 72 - 52*h/(21*d) }, long: 21 * 24 * hour, believed: []span{{0, 21 * d}}},
		{name: "a thin layer in the sun, 12 points a day from one day on", every: tenMinutes, says: func(h float64) float64 { return 72 - 12*h/d }, long: 4 * 24 * hour, believed: []span{{0, 4 * d}}},
		{name: "the same, hourly", every: hour, says: func(h float64) float64 { return 72 - 12*h/d }, long: 4 * 24 * hour, believed: []span{{0, 4 * d}}},
		{name: "dries to 15 % in nine days", every: hour, says: func(h float64) float64 { return 72 - 57*h/(9*d) }, long: 9 * 24 * hour, believed: []span{{0, 9 * d}}},
	}
	for _, s := range stories {
		for _, noise := range []float64{0.3, 1} {
			t.Run(fmt.Sprintf("%s, noise %v", s.name, noise), func(t *testing.T) {
				t.Parallel()
				s.tell(t, farm.Moisture, func(h float64) float64 { return 72 + 1.5*math.Sin(h*math.Pi/12) }, noise)
			})
		}
	}
}

// What a broker hands over after an outage, without true times, is of the bench
// as long as the probe lies there.
func TestABacklogFromTheBenchIsDoubted(t *testing.T) {
	d := newTester(lone(farm.Moisture, tenMinutes))
	at := d.calm("p", spring, 5, 72)
	for range 6 * 24 {
		d.say("p", at, 5)
		at = at.Add(tenMinutes)
	}
	before := save(t, d.Doubter)
	for _, tt := range []struct {
		value float64
		want  farm.Doubt
	}{{5, farm.TooFast}, {9, farm.TooFast}, {71, farm.NoDoubt}} {
		r := farm.Reading{Probe: "p", At: at, Raw: tt.value, Value: tt.value, Uncertain: true}
		if d.Judge(&r); r.Doubt != tt.want {
			t.Errorf("%v without a true time: doubt %q, want %q", tt.value, r.Doubt, tt.want)
		}
	}
	if got := save(t, d.Doubter); string(got) != string(before) {
		t.Error("readings without a true time have taught something")
	}
}
