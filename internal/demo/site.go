package demo

import (
	"time"

	"binwatchd/internal/physics"
)

const (
	day   = 24 * time.Hour
	cycle = 30 * day // the story comes round, counted from the midnight (UTC) before the start
)

// weather is the late spring of Hillfoot, with a cold snap and a heat wave.
func weather(d physics.Dice, origin time.Time) physics.Climate {
	return physics.Climate{
		Dice: d.Named("weather"), MeanC: 17, SwingK: 6, FrontK: 0.8, SunWM2: 650,
		Spells: []physics.Spell{
			{From: origin.Add(6*day + 12*time.Hour), Lasts: 4 * day, Every: cycle, ByK: -14},
			{From: origin.Add(17 * day), Lasts: 5 * day, Every: cycle, ByK: 11},
		},
	}
}

// powerOff tells whether the cabinet's heater has failed, as it does for thirty
// hours of the cold snap.
func powerOff(t, origin time.Time) bool {
	const from = 8*day + 20*time.Hour
	into := t.Sub(origin) % cycle
	return into >= from && into < from+30*time.Hour
}

// A site is the nursery's matter and air at one moment.
type site struct {
	origin  time.Time // midnight (UTC) before the start; the story counts from it
	at      time.Time
	climate physics.Climate

	yard, glass, shed, cabinet, store room

	near, far     *container // the bed's working and sifting ends
	trays         []*container
	box           *container // in the cabinet
	trough        *container
	crate, barrel *container
	containers    []*container // all of them
}

// A room is a body of air that containers stand in; the yard is the open air.
type room struct {
	physics.Room
	air physics.Air
}

// A container is a heap in a room, and what the keeper wants of it.
type container struct {
	*physics.Heap
	place string // as the configuration has it
	room  *room
	wish  wish
	meal  meal
}

// tick is the step of the physics. The site's clock stands on whole ticks.
const tick = time.Minute

// newSite builds the nursery as the keeper has it on the first day, every room at
// rest with the weather it begins in.
//
// Losses of the containers are for thin wood or plastic, about 2–3 W/(m²·K); the
// openings run from a loose lid to a bare surface.
func newSite(d physics.Dice, start time.Time) *site {
	start = start.UTC()
	origin := start.Truncate(day)
	s := &site{origin: origin, at: start.Truncate(tick), climate: weather(d, origin)}
	s.glass.Room = physics.Room{
		CapacityJK: 4e6, LossWK: 160, SunM2: 7, VentC: 24,
		HeaterW: 2500, HeatBelowC: 5, HeatUpToC: 7, DampKPa: 0.15, TempC: 17,
	}
	s.shed.Room = physics.Room{CapacityJK: 4e6, LossWK: 45, SunM2: 0.25, TempC: 16}
	s.cabinet.Room = physics.Room{
		CapacityJK: 9e4, LossWK: 3,
		HeaterW: 80, HeatBelowC: 24.5, HeatUpToC: 25.5, DampKPa: 0.9, TempC: 25,
	}
	s.store.Room = physics.Room{CapacityJK: 9e6, LossWK: 35, DampKPa: 0.05, TempC: 15.5}

	s.near = s.put("bed/near", &s.glass, wish{below: 73, upTo: 75.5, jugL: 0.5}, physics.Build(physics.Make{
		SurfaceM2: 0.70, OpenKg: 2.4e-5, LossWK: 5, InnerWK: 9, SkinShare: 0.35, WickKg: 2e-4, HoldsKg: 4.6, BreathW: 120,
	}, 29, 6, 77, 20))
	s.far = s.put("bed/far", &s.glass, wish{}, physics.Build(physics.Make{
		SurfaceM2: 0.35, OpenKg: 5.8e-5, LossWK: 3, InnerWK: 5, SkinShare: 0.4, WickKg: 1.2e-4, HoldsKg: 3.2,
	}, 18, 1, 38, 19))
	for i, zone := range []string{"bottom", "middle", "top"} {
		s.trays = append(s.trays, s.put("stack/"+zone, &s.shed, wish{below: 75, upTo: 79, jugL: 0.25}, physics.Build(physics.Make{
			SurfaceM2: 0.12, OpenKg: 1.3e-5, LossWK: 0.6, InnerWK: 1.5, SkinShare: 0.4, WickKg: 4e-5, HoldsKg: 4.6, BreathW: 12,
		}, 2.4, 0.7, 77+float64(i), 16)))
	}
	s.box = s.put("cabinet", &s.cabinet, wish{below: 77.5, upTo: 80, jugL: 0.25}, physics.Build(physics.Make{
		SurfaceM2: 0.18, OpenKg: 1.2e-5, LossWK: 1.4, InnerWK: 3, SkinShare: 0.35, WickKg: 8e-5, HoldsKg: 4.6, BreathW: 8,
	}, 7, 1.5, 79, 25))
	s.trough = s.put("trough", &s.yard, wish{below: 73, upTo: 78, jugL: 0.5}, physics.Build(physics.Make{
		SurfaceM2: 0.08, OpenKg: 3e-5, LossWK: 5.5, InnerWK: 8, SkinShare: 0.35, WickKg: 2e-4, HoldsKg: 4.4, BreathW: 80,
	}, 21, 4, 78, 15))
	s.crate = s.put("crate", &s.store, wish{below: 40, upTo: 46, jugL: 0.5}, physics.Build(physics.Make{
		SurfaceM2: 0.16, OpenKg: 1.0e-5, LossWK: 1.6, InnerWK: 2.5, SkinShare: 0.35, WickKg: 6e-5, HoldsKg: 3.2,
	}, 11, 0.5, 43, 15))
	s.barrel = s.put("barrel", &s.store, wish{below: 41, upTo: 46, jugL: 0.5}, physics.Build(physics.Make{
		SurfaceM2: 0.25, OpenKg: 0.6e-5, LossWK: 3.5, InnerWK: 5, SkinShare: 0.3, WickKg: 1e-4, HoldsKg: 3.2,
	}, 42, 2, 48, 15))
	s.box.meal, s.trough.meal = meal{oats, 0.12, 0}, meal{scraps, 1.5, 1}

	out := s.climate.At(s.at)
	s.yard.air = out.Air
	for _, r := range []*room{&s.glass, &s.shed, &s.cabinet, &s.store} {
		r.air = r.Air(out)
	}
	return s
}

// put sets a container up.
func (s *site) put(place string, r *room, w wish, h *physics.Heap) *container {
	c := &container{Heap: h, place: place, room: r, wish: w}
	s.containers = append(s.containers, c)
	return c
}

// reach lets the farm live on to the last whole tick not after t.
func (s *site) reach(t time.Time) {
	for ; !s.at.Add(tick).After(t); s.at = s.at.Add(tick) {
		s.step()
	}
}

func (s *site) step() {
	dt := tick.Seconds()
	out := s.climate.At(s.at)
	s.yard.air = out.Air
	for _, r := range []*room{&s.glass, &s.shed, &s.store} {
		r.air = r.Step(dt, out, false)
	}
	s.cabinet.air = s.cabinet.Step(dt, physics.Outside{Air: s.shed.air}, powerOff(s.at, s.origin))
	for _, c := range s.containers {
		c.Step(dt, c.room.air)
	}
}
