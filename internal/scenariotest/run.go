package scenariotest

import (
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/physics"
)

// A Run is a case lived through: what was true, and what was done.
type Run struct {
	Case        Case
	Temperature Signal // the bin's own, true, °C
	Moisture    Signal // likewise, % of fresh mass
	Air         Signal // the room's, °C
	Own         Signal // K by which its feed has warmed the bin, with a Warmth alone
	Warmth      Signal // how hard it is warmed from outside, 1 for all there is, with a Warmth alone
	Jots        []farm.Jot
	DryKg       float64 // true dry mass at the start
	VolumeL     float64

	temp, moist physics.Gauge
	airInSunK   float64 // what full sun adds to the air probe
	dice        physics.Dice
}

const (
	tick     = time.Minute      // of the physics
	sampling = 10 * time.Minute // of the signals
	warmUp   = 3 * 24 * time.Hour
)

// Limits of a worm bin for the red worms that live in every case, and of
// castings; the starting defaults of the species table.
const (
	DryBelow   = 70.0 // % at which a living zone has left its thrive band
	KeepBelow  = 40.0 // likewise stored castings
	SiftOpens  = 45.0 // % at which the sifting window opens
	SiftCloses = 35.0 // and closes
	HeatLimitC = 32.0 // °C at which red worms are harmed
)

// A trial is a run being lived.
type trial struct {
	*Run
	at      time.Time
	climate physics.Climate
	room    physics.Room
	heap    *physics.Heap
	warmer  *warmer   // nil without a Warmth
	inert   bool      // what is fed gives no heat
	over    time.Time // when it may end early; zero while there is no reason to
}

// Run lives the case through; one with a Warmth or weekly feeds a second time, with feeds that
// do not heat, to know how much of its warmth is its own.
func (c Case) Run() *Run {
	r := c.live(false)
	if c.Warmth == NoWarmth && c.Kind != Weekly {
		return r
	}
	without := c.live(true)
	r.Own = Signal{From: c.Start, Step: sampling}
	for i, v := range r.Temperature.V {
		r.Own.V = append(r.Own.V, v-without.Temperature.V[i])
	}
	return r
}

func (c Case) live(inert bool) *Run {
	t := c.begin()
	t.inert = inert
	end := c.Start.Add(time.Duration(c.Days) * 24 * time.Hour)
	for t.sample(); t.at.Before(end) && (t.over.IsZero() || t.at.Before(t.over)); t.sample() {
		t.act()
		for range sampling / tick {
			t.step()
		}
		t.watchForEnd()
	}
	return t.Run
}

// begin sets the bin up and lets it come to rest with its room.
func (c Case) begin() *trial {
	d := physics.Dice(c.Seed).Named(string(c.Kind) + string(c.Bin) + string(c.Room) + string(c.Probe))
	s := stockOf(c.Bin)
	switch c.Kind {
	case Sifting:
		s = s.finished()
	case Drying:
		s = s.bare(d.Named("cover"))
	}
	s = s.varied(d.Named("stock"))
	r := &Run{Case: c, DryKg: s.DryKg, VolumeL: s.VolumeL, dice: d}
	r.temp, r.moist = gauges(c.Probe, d)
	for _, g := range []*Signal{&r.Temperature, &r.Moisture, &r.Air, &r.Warmth} {
		*g = Signal{From: c.Start, Step: sampling}
	}
	t := &trial{Run: r, at: c.Start.Add(-warmUp), climate: climateOf(d)}
	near := t.climate.MeanC
	if c.Warmth != NoWarmth {
		t.warmer = newWarmer(c, d.Named("warmth"), &s, &t.climate)
		near = t.climate.MeanC
		r.airInSunK = t.warmer.airK
	}
	t.room = roomOf(c.Room, near)
	t.heap = physics.Build(s.Make, s.DryKg, s.SlowKg, c.firstMoisture(d), near)
	t.settle(c.Start)
	return t
}

// firstMoisture is where the bin begins.
func (c Case) firstMoisture(d physics.Dice) float64 {
	switch {
	case c.Kind == Sifting:
		return d.Between(10, 54, 60)
	case c.Bin == Tub && c.Kind == Drying:
		return d.Between(10, 44, 50)
	case c.Bin == Tub:
		return d.Between(10, 45, 48)
	}
	return d.Between(10, 74, 79)
}

// settle lets time pass until the start and keeps of it the temperatures alone.
func (t *trial) settle(start time.Time) {
	filled := *t.heap
	for t.at.Before(start) {
		t.step()
	}
	filled.Core.TempC, filled.Skin.TempC = t.heap.Core.TempC, t.heap.Skin.TempC
	*t.heap = filled
}

func (t *trial) step() {
	out := t.climate.At(t.at)
	air := t.room.Step(tick.Seconds(), out, false)
	if t.warmer != nil {
		air = t.warmer.warm(t, air, out)
	}
	t.heap.Step(tick.Seconds(), air)
	t.at = t.at.Add(tick)
}

// sample notes how things stand.
func (t *trial) sample() {
	t.Temperature.V = append(t.Temperature.V, t.heap.TempC())
	t.Moisture.V = append(t.Moisture.V, t.heap.Moisture())
	t.Air.V = append(t.Air.V, t.room.TempC)
	if t.warmer != nil {
		t.Warmth.V = append(t.Warmth.V, t.warmer.part)
	}
}

// watchForEnd lets a drying or sifting end three days after both the bin and
// what its probe says of it are past the last limit.
func (t *trial) watchForEnd() {
	limit := 0.0
	switch {
	case t.Case.Kind == Sifting:
		limit = SiftCloses
	case t.Case.Kind == Drying && t.Case.Bin == Tub:
		limit = KeepBelow
	case t.Case.Kind == Drying:
		limit = DryBelow
	}
	m := t.heap.Moisture()
	if t.over.IsZero() && max(m, t.moist.Clean(m)) < limit {
		t.over = t.at.Add(3 * 24 * time.Hour)
	}
}
