package demo

import (
	"time"

	"binwatchd/internal/physics"
)

// The story comes round every cycle, counted from the midnight (UTC) before
// the start.
const (
	day   = 24 * time.Hour
	cycle = 30 * day

	coldSnapFrom  = 6*day + 12*time.Hour
	coldSnapLasts = 4 * day
	coldSnapByK   = -14

	powerOffFrom  = 8*day + 20*time.Hour // the cabinet's heater, in the cold snap
	powerOffLasts = 30 * time.Hour

	heatWaveFrom  = 17 * day
	heatWaveLasts = 5 * day
	heatWaveByK   = 11

	firstRound = 1*day + 9*time.Hour
	roundEvery = 7 * day
)

// weather is the late spring of Hillfoot with the story's spells.
func weather(d physics.Dice, origin time.Time) physics.Climate {
	return physics.Climate{
		Dice: d.Named("weather"), MeanC: 17, SwingK: 6, FrontK: 0.8, SunWM2: 650,
		Spells: []physics.Spell{
			{From: origin.Add(coldSnapFrom), Lasts: coldSnapLasts, Every: cycle, ByK: coldSnapByK},
			{From: origin.Add(heatWaveFrom), Lasts: heatWaveLasts, Every: cycle, ByK: heatWaveByK},
		},
	}
}

// powerOff tells whether the cabinet's heater has failed.
func powerOff(t, origin time.Time) bool {
	into := t.Sub(origin) % cycle
	return into >= powerOffFrom && into < powerOffFrom+powerOffLasts
}

// A site is the nursery's matter and air at one moment.
type site struct {
	origin  time.Time // midnight (UTC) before the start; the story counts from it
	at      time.Time
	climate physics.Climate

	glass, shed, cabinet, store physics.Room
	airs                        airs

	near, far     *physics.Heap // the bed's working and sifting ends
	trays         [3]*physics.Heap
	box           *physics.Heap // in the cabinet
	trough        *physics.Heap
	crate, barrel *physics.Heap
}

// airs is what surrounds the heaps.
type airs struct{ yard, glass, shed, cabinet, store physics.Air }

// tick is the step of the physics. The site's clock stands on whole ticks.
const tick = time.Minute

func newSite(d physics.Dice, start time.Time) *site {
	start = start.UTC()
	origin := start.Truncate(day)
	s := &site{origin: origin, at: start.Truncate(tick), climate: weather(d, origin)}
	s.build()
	s.fill()
	s.settle(s.climate.At(s.at))
	return s
}

// settle puts every room at rest with the weather it begins in.
func (s *site) settle(out physics.Outside) {
	s.airs = airs{
		yard: out.Air, glass: s.glass.Air(out), shed: s.shed.Air(out),
		cabinet: s.cabinet.Air(out), store: s.store.Air(out),
	}
}

// build sets up the rooms.
func (s *site) build() {
	s.glass = physics.Room{
		CapacityJK: 4e6, LossWK: 160, SunM2: 7, VentC: 24,
		HeaterW: 2500, HeatBelowC: 5, HeatUpToC: 7, DampKPa: 0.15, TempC: 17,
	}
	s.shed = physics.Room{CapacityJK: 4e6, LossWK: 45, SunM2: 0.25, TempC: 16}
	s.cabinet = physics.Room{
		CapacityJK: 9e4, LossWK: 3,
		HeaterW: 80, HeatBelowC: 24.5, HeatUpToC: 25.5, DampKPa: 0.9, TempC: 25,
	}
	s.store = physics.Room{CapacityJK: 9e6, LossWK: 35, DampKPa: 0.05, TempC: 15.5}
}

// fill puts the nursery's stuff into its containers as the keeper has it on
// the first day.
func (s *site) fill() {
	s.near = physics.Build(bedNear, 29, 6, 77, 20)
	s.far = physics.Build(bedFar, 18, 1, 38, 19)
	for i := range s.trays {
		s.trays[i] = physics.Build(tray, 2.4, 0.7, 77+float64(i), 16)
	}
	s.box = physics.Build(cabinetBox, 7, 1.5, 79, 25)
	s.trough = physics.Build(outdoorTrough, 21, 4, 78, 15)
	s.crate = physics.Build(tub60, 11, 0.5, 43, 15)
	s.barrel = physics.Build(tub200, 42, 2, 48, 15)
}

// How the containers are built. Losses are for thin wood or plastic, about
// 2–3 W/(m²·K); the openings run from a loose lid to a bare surface.
var (
	bedNear = physics.Make{
		SurfaceM2: 0.70, OpenKg: 2.4e-5, LossWK: 5, InnerWK: 9, SkinShare: 0.35, WickKg: 2e-4, HoldsKg: 4.6, BreathW: 120,
	}
	bedFar = physics.Make{
		SurfaceM2: 0.35, OpenKg: 5.8e-5, LossWK: 3, InnerWK: 5, SkinShare: 0.4, WickKg: 1.2e-4, HoldsKg: 3.2,
	}
	tray = physics.Make{
		SurfaceM2: 0.12, OpenKg: 1.3e-5, LossWK: 0.6, InnerWK: 1.5, SkinShare: 0.4, WickKg: 4e-5, HoldsKg: 4.6, BreathW: 12,
	}
	cabinetBox = physics.Make{
		SurfaceM2: 0.18, OpenKg: 1.2e-5, LossWK: 1.4, InnerWK: 3, SkinShare: 0.35, WickKg: 8e-5, HoldsKg: 4.6, BreathW: 8,
	}
	outdoorTrough = physics.Make{
		SurfaceM2: 0.08, OpenKg: 3e-5, LossWK: 5.5, InnerWK: 8, SkinShare: 0.35, WickKg: 2e-4, HoldsKg: 4.4, BreathW: 80,
	}
	tub60 = physics.Make{
		SurfaceM2: 0.16, OpenKg: 1.0e-5, LossWK: 1.6, InnerWK: 2.5, SkinShare: 0.35, WickKg: 6e-5, HoldsKg: 3.2,
	}
	tub200 = physics.Make{
		SurfaceM2: 0.25, OpenKg: 0.6e-5, LossWK: 3.5, InnerWK: 5, SkinShare: 0.3, WickKg: 1e-4, HoldsKg: 3.2,
	}
)

// reach lets the farm live on to the last whole tick not after t.
func (s *site) reach(t time.Time) {
	for ; !s.at.Add(tick).After(t); s.at = s.at.Add(tick) {
		s.step()
	}
}

func (s *site) step() {
	dt := tick.Seconds()
	out := s.climate.At(s.at)
	s.airs.yard = out.Air
	s.airs.glass = s.glass.Step(dt, out, false)
	s.airs.shed = s.shed.Step(dt, out, false)
	s.airs.cabinet = s.cabinet.Step(dt, physics.Outside{Air: s.airs.shed}, powerOff(s.at, s.origin))
	s.airs.store = s.store.Step(dt, out, false)

	s.near.Step(dt, s.airs.glass)
	s.far.Step(dt, s.airs.glass)
	for _, t := range s.trays {
		t.Step(dt, s.airs.shed)
	}
	s.box.Step(dt, s.airs.cabinet)
	s.trough.Step(dt, s.airs.yard)
	s.crate.Step(dt, s.airs.store)
	s.barrel.Step(dt, s.airs.store)
}
