package trend_test

import (
	"math"
	"math/rand/v2"
	"time"

	"binwatchd/internal/trend"
)

// A heap is a simulated bin, on purpose of other physics than the package
// fits: microbes that grow by Monod on what was fed, their pace set by a
// temperature curve of their own, heat a core that leaks through a wall node
// to the room. Nothing in it is an S-curve or a first-order approach.
type heap struct {
	room     func(hour float64) float64
	coreTau  float64 // h, core to wall
	wallTau  float64 // h, wall to room
	heatPerS float64 // K per unit of substrate burnt
	growth   float64 // 1/h at the best temperature
	best     float64 // °C of the microbes
	yield    float64
	feeds    map[int]float64 // substrate by the minute it was given
	steady   float64         // K/h of heat of the worms and bedding
	least    float64         // microbes that never die out
	air      float64         // substrate burnt in an hour at most: what oxygen gets in

	core, wall, food, life float64
}

func newHeap(rng *rand.Rand, room func(float64) float64, feedAt int, food float64) heap {
	h := heap{
		room: room, coreTau: 4 + 16*rng.Float64(), wallTau: 2 + 8*rng.Float64(),
		heatPerS: 5 + 6*rng.Float64(), growth: 0.12 + 0.3*rng.Float64(), best: 34 + 8*rng.Float64(), yield: 0.4,
		least: 0.02 + 0.15*rng.Float64(),
		feeds: map[int]float64{feedAt: food}, steady: 0.05 * rng.Float64(),
	}
	h.air = (0.5 + 1.5*rng.Float64()) / h.heatPerS
	for _, d := range []int{2, 7} { // small earlier feeds
		h.feeds[d*24*60+rng.IntN(24*60)] = 0.3 * rng.Float64()
	}
	return h
}

const simStep = 10 // minutes

// run gives the core's temperature every ten minutes.
func (h *heap) run(minutes int) []float64 {
	h.core, h.wall, h.life = h.room(0), h.room(0), h.least
	var out []float64
	for m := 0; m < minutes; m++ {
		h.food += h.feeds[m]
		h.minute(float64(m) / 60)
		if m%simStep == 0 {
			out = append(out, h.core)
		}
	}
	return out
}

func (h *heap) minute(hour float64) {
	const dt = 1.0 / 60
	pace := h.growth * math.Exp(-math.Pow((h.core-h.best)/18, 2)) * h.food / (h.food + 0.3)
	burnt := min(h.food, h.air*(1-math.Exp(-pace*h.life/h.yield/h.air))*dt)
	h.food -= burnt
	h.life += burnt*h.yield - 0.008*h.life*dt
	h.life = max(h.life, h.least)
	flow := (h.core - h.wall) / h.coreTau * dt
	h.core += burnt*h.heatPerS + h.steady*dt - flow
	h.wall += 0.5*flow - (h.wall-h.room(hour))/h.wallTau*dt
}

// A sensor spoils a temperature the way cheap ones do.
type sensor struct {
	noise, step float64 // K
	daily       float64 // K by which the afternoon sun on the lead lifts it
	lost        float64 // part of the readings that never come
	bias        float64
}

func (s sensor) read(rng *rand.Rand, v, hour float64) (float64, bool) {
	if rng.Float64() < s.lost {
		return 0, false
	}
	v += s.bias + s.noise*rng.NormFloat64() + s.daily*math.Max(0, math.Sin((math.Mod(hour, 24)-8)/12*math.Pi))
	if s.step > 0 {
		v = math.Round(v/s.step) * s.step
	}
	return v, true
}

func simSensor(rng *rand.Rand) sensor {
	return sensor{
		noise: 0.03 + 0.15*rng.Float64(),
		step:  []float64{0.0625, 0.1, 0.5, 1}[rng.IntN(4)],
		daily: 0.6 * rng.Float64(),
		lost:  0.1 * rng.Float64(),
		bias:  rng.NormFloat64() * 0.3,
	}
}

// simRoom is the air of a room: a season's drift, fronts, and days that
// differ.
func simRoom(rng *rand.Rand, mean, swing, fronts float64) func(float64) float64 {
	days := make([]float64, 60)
	amp := make([]float64, 60)
	level := 0.0
	for d := range days {
		level = 0.75*level + fronts*rng.NormFloat64()
		days[d], amp[d] = level, swing*(0.5+rng.Float64())
	}
	return func(hour float64) float64 {
		d := int(hour / 24)
		f := hour/24 - float64(d)
		base := days[d]*(1-f) + days[d+1]*f
		return mean + base + amp[d]*math.Sin((hour-9)/12*math.Pi)
	}
}

// A tracked pair is a bin and its room as the program would see them.
type tracked struct{ bin, air trend.Track }

var simStart = time.Date(2024, 4, 3, 0, 0, 0, 0, time.UTC)

func simTime(minute int) time.Time { return simStart.Add(time.Duration(minute) * time.Minute) }
