package scenariotest

import (
	"iter"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/physics"
)

// Turn is what happens to the air around an exposed bin.
type Turn string

const (
	UsualDays  Turn = "usual"       // nothing: days near the limit, some colder than others
	Front      Turn = "front"       // within a day it turns cold for days
	Nights     Turn = "nights"      // a week of clear cold nights, one after the other
	WindowOpen Turn = "window open" // left open for a day or two
	HeaterOff  Turn = "heater off"  // the heater of a warm room fails
	HotSpell   Turn = "hot spell"   // within a day it turns hot for days
)

// Turns lists them all.
var Turns = []Turn{UsualDays, Front, Nights, WindowOpen, HeaterOff, HotSpell}

// An Exposed is a bin that the air of its room cools or warms: two bodies, a shell
// and a core, in wind, over a floor, with a little heat of their own. The probe sits
// anywhere between the two.
type Exposed struct {
	Turn     Turn
	Room     Room // Cellar, Shed or Yard; House where the heater fails
	Probe    Probe
	Air      bool // a probe hangs in the air
	Foretold bool // somebody publishes the weather to come
	Every    time.Duration
	Seed     uint64
	Start    time.Time
	Days     int
}

// ExposedSuite is n bins to which a turn comes, in mixed rooms, with mixed probes.
func ExposedSuite(turn Turn, foretold bool, n int, seed uint64, start time.Time) []Exposed {
	rooms, probes := []Room{Yard, Shed, Yard, Cellar}, []Probe{Fine, Cheap, Coarse}
	paces := []time.Duration{10 * time.Minute, 10 * time.Minute, 30 * time.Minute, time.Hour}
	switch turn {
	case Front, Nights, HotSpell:
		rooms = []Room{Yard, Shed}
	case WindowOpen:
		rooms = []Room{Cellar, Shed}
	case HeaterOff:
		rooms = []Room{House}
	}
	all := make([]Exposed, n)
	for i := range all {
		all[i] = Exposed{
			Turn: turn, Room: rooms[i%len(rooms)], Probe: probes[i/2%len(probes)], Air: i%5 != 4, Foretold: foretold,
			Every: paces[i/3%len(paces)], Seed: seed + uint64(i), Start: start, Days: 30,
		}
	}
	return all
}

// An ExposedRun is such a bin lived through.
type ExposedRun struct {
	Exposed
	Temperature Signal // at the probe, as it would say without noise, °C
	RoomAir     Signal // °C
	Outside     Signal // °C
	LimitC      float64
	Above       bool // the limit lies above
	Species     string

	dice physics.Dice
	temp physics.Gauge
}

// RoomName is the place of an exposed bin.
const RoomName = "yard"

const weatherTopic = "weather/hours"

// foretoldFor is how far ahead the weather is published, and foretoldEvery how often.
const (
	foretoldFor   = 48 * time.Hour
	foretoldEvery = 3 * time.Hour
	exposedTick   = 5 * time.Minute
)

// Run lives the case through.
func (c Exposed) Run() *ExposedRun {
	d := physics.Dice(c.Seed).Named(string(c.Turn) + string(c.Room))
	r := &ExposedRun{Exposed: c, dice: d, LimitC: 4, Species: "red"}
	for _, s := range []*Signal{&r.Temperature, &r.RoomAir, &r.Outside} {
		*s = Signal{From: c.Start, Step: sampling}
	}
	r.temp, _ = gauges(c.Probe, d)
	switch c.Turn {
	case HotSpell:
		r.LimitC, r.Above = 32, true
	case HeaterOff:
		r.LimitC, r.Species = 16, "african"
	}
	s := r.site()
	for at := c.Start.Add(-4 * 24 * time.Hour); at.Before(c.Start.Add(time.Duration(c.Days) * 24 * time.Hour)); at = at.Add(exposedTick) {
		s.step(at, exposedTick.Seconds())
		if at.Before(c.Start) || at.Sub(c.Start)%sampling != 0 {
			continue
		}
		r.Temperature.V = append(r.Temperature.V, r.temp.Clean(s.probe()))
		r.RoomAir.V = append(r.RoomAir.V, s.airC)
		r.Outside.V = append(r.Outside.V, s.climate.At(at).TempC)
	}
	return r
}

// A site is the bin with what surrounds it.
type site struct {
	*ExposedRun
	climate        physics.Climate
	turns, back    time.Time // from when to when the turn lasts
	airC           float64
	roomHours      float64 // in which the room follows the outside; 0 is outside
	floorC         float64 // of the ground under the bin, and of the walls of a cellar
	walls          float64 // part of what the room follows that is the ground
	sunK           float64 // what full sun adds to the air of the room
	warmC          float64 // of a heated room
	coreC, shellC  float64
	coreJK, shelJK float64
	innerWK        float64
	outerWK        float64
	floorWK        float64
	ownW           float64
	depth          float64 // 0 at the shell, 1 in the core
	sinkK          float64 // how far a clear night's sky cools what stands in the open
}

func (r *ExposedRun) site() *site {
	d, day := r.dice.Named("site"), 24*time.Hour
	s := &site{ExposedRun: r, depth: d.Between(0, 0.3, 1), ownW: d.Between(1, 1, 9)}
	litres := d.Between(2, 40, 240)
	mass := litres * 0.6 * 3200 // J/K of moist stuff; 0.6 kg a litre
	s.coreJK, s.shelJK = mass*0.65, mass*0.35
	s.innerWK = d.Between(3, 1.2, 3) * litres / 100
	s.outerWK = d.Between(4, 0.8, 4) * litres / 100
	s.floorWK = s.outerWK * d.Between(5, 0.02, 0.3)
	s.turns = r.Start.Add(time.Duration(d.Between(6, 9, 20)*24) * time.Hour)
	s.back = s.turns.Add(time.Duration(d.Between(7, 36, 96)) * time.Hour)
	mean := d.Between(8, 8, 11)
	s.climate = physics.Climate{
		Dice: d.Named("weather"), MeanC: mean, SwingK: d.Between(9, 2, 5), FrontK: d.Between(10, 0.8, 2), SunWM2: 450,
	}
	switch r.Turn {
	case UsualDays:
		s.climate.MeanC = d.Between(8, 6.5, 9)
	case Front:
		s.climate.Spells = []physics.Spell{{From: s.turns, Lasts: s.back.Sub(s.turns), ByK: -d.Between(11, 6, 14)}}
	case Nights:
		s.climate.Spells = []physics.Spell{{From: s.turns, Lasts: 7 * day, ByK: -d.Between(11, 3, 7)}}
		s.climate.SwingK += 2
	case HotSpell:
		s.climate.MeanC, s.climate.SunWM2 = d.Between(8, 19, 23), 800
		s.climate.Spells = []physics.Spell{{From: s.turns, Lasts: s.back.Sub(s.turns), ByK: d.Between(11, 5, 12)}}
	case WindowOpen:
		s.climate.MeanC = d.Between(8, -6, 1)
	case HeaterOff:
		s.climate.MeanC = d.Between(8, 0, 9)
	}
	s.floorC = s.climate.MeanC
	switch r.Room {
	case Yard:
		s.sunK, s.sinkK = d.Between(12, 0, 3), d.Between(13, 0, 2)
	case Shed:
		s.roomHours, s.sunK = d.Between(12, 2, 8), d.Between(13, 1, 6)
		if r.Turn == WindowOpen { // frost-proof: a little heat keeps it
			s.warmC = d.Between(14, 7, 10)
		}
	case Cellar:
		s.roomHours, s.walls, s.floorC = d.Between(12, 20, 50), d.Between(13, 0.6, 0.9), d.Between(14, 9, 12)
	case House:
		s.roomHours, s.warmC = d.Between(12, 3, 10), d.Between(14, 20, 24)
	}
	s.airC = s.climate.MeanC*(1-s.walls) + s.walls*s.floorC
	if s.warmC != 0 {
		s.airC = s.warmC
	}
	s.coreC, s.shellC = s.airC+1, s.airC
	return s
}

func (s *site) probe() float64 { return s.depth*s.coreC + (1-s.depth)*s.shellC }

// step lets some seconds pass.
func (s *site) step(at time.Time, dt float64) {
	out := s.climate.At(at)
	sun := out.SunWM2 / 800
	turned := !at.Before(s.turns) && at.Before(s.back)
	target, hours := out.TempC*(1-s.walls)+s.walls*s.floorC+s.sunK*sun, s.roomHours
	switch {
	case s.Turn == WindowOpen && turned:
		target, hours = out.TempC*(1-s.walls/4)+s.walls/4*s.floorC, min(3, s.roomHours/4)
	case s.warmC != 0 && !(s.Turn == HeaterOff && turned):
		target, hours = max(target, s.warmC+0.5*s.dice.Named("thermostat").Smooth(at, 5*time.Hour)), 1
	}
	if hours == 0 {
		s.airC = target
	} else {
		s.airC += (target - s.airC) * min(1, dt/3600/hours)
	}
	wind, sky := 1.0, 0.0
	if s.Room == Yard {
		wind += 0.6 * max(0, s.dice.Named("wind").Smooth(at, 9*time.Hour))
		sky = s.sinkK * (1 - sun) * max(0, -s.climate.Dice.Named("cloud").Smooth(at, 30*time.Hour))
	}
	inner := s.innerWK * (s.coreC - s.shellC)
	own := s.ownW * physics.Vigour(s.coreC)
	s.coreC += (own - inner) * dt / s.coreJK
	s.shellC += (inner - s.outerWK*wind*(s.shellC-s.airC+sky) - s.floorWK*(s.shellC-s.floorC)) * dt / s.shelJK
}

// Farm is the case's farm, with the program's defaults.
func (r *ExposedRun) Farm(species []farm.Species, feeds []farm.Feed) farm.Farm {
	of := func(id string) farm.Probe {
		return farm.Probe{ID: id, Topic: "case/" + id, Measures: farm.Temperature, Unit: farm.Celsius, Every: r.Every}
	}
	room := farm.Room{Name: RoomName}
	b := farm.Bin{Name: BinName, Species: []farm.Share{{Species: r.Species, Fraction: 1}}, VolumeL: 100, Room: RoomName, Zones: []farm.Zone{{
		Name: ZoneName, Aim: farm.Living, Probes: []string{TempProbe}, Share: 1, Patience: 30 * time.Minute,
		Margin: map[farm.Quantity]float64{farm.Temperature: 0.5}, LookAhead: defaultLookAhead,
	}}}
	f := farm.Farm{Name: string(r.Turn), Units: farm.Metric, Location: time.UTC, Probes: []farm.Probe{of(TempProbe)}, Species: species, Feeds: feeds}
	if r.Air {
		f.Probes = append(f.Probes, of(AirProbe))
		b.Ambient, room.Air = AirProbe, AirProbe
	}
	if r.Foretold {
		room.Ahead = weatherTopic
	}
	f.Bins, f.Rooms = []farm.Bin{b}, []farm.Room{room}
	return f
}

// Events are what the probes say and what is foretold, with a tick every hour.
func (r *ExposedRun) Events() iter.Seq[farm.Event] {
	var all []farm.Event
	air := physics.Gauge{Dice: r.dice.Named("air probe"), Bias: 0.3 * r.dice.Normal(77), White: 0.08, Step: 0.0625}
	for at := r.Start; at.Before(r.Temperature.To()); at = at.Add(r.Every) {
		say := func(id string, after time.Duration, v float64) {
			at := at.Add(after)
			if r.dice.Named("lost "+id).Uniform(at.Unix()) >= 1.0/100 {
				all = append(all, farm.Event{Arrived: at, Kind: farm.EventReading, Reading: farm.Reading{Probe: id, At: at, Raw: v, Value: v}})
			}
		}
		noise := r.temp
		noise.Bias, noise.Gain = 0, 0 // the truth has them
		say(TempProbe, 20*time.Second, noise.Read(at, r.Temperature.At(at), r.RoomAir.At(at)))
		if r.Air {
			say(AirProbe, time.Minute, air.Read(at, r.RoomAir.At(at), r.RoomAir.At(at)))
		}
	}
	for at := r.Start; at.Before(r.Temperature.To()); at = at.Add(time.Hour) {
		all = append(all, farm.Event{Arrived: at, Kind: farm.EventTick})
	}
	if r.Foretold {
		for at := r.Start.Add(time.Hour); at.Before(r.Temperature.To()); at = at.Add(foretoldEvery) {
			if w := r.foretell(at); len(w.Hours) > 0 {
				all = append(all, farm.Event{Arrived: at.Add(7 * time.Minute), Kind: farm.EventWeather, Weather: &w})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b farm.Event) int { return a.Arrived.Compare(b.Arrived) })
	return slices.Values(all)
}

// foretell is the weather as it is foretold at a moment: for a spot some way off, and
// the worse the farther ahead, about 1 K at once and 2 K a day on. One in twelve is
// not sent.
func (r *ExposedRun) foretell(at time.Time) (w farm.Weather) {
	w.Topic = weatherTopic
	if r.dice.Named("not sent").Uniform(at.Unix()) < 1.0/12 {
		return w
	}
	off := 1.2 * r.dice.Normal(99)
	run := r.dice.Named("run " + at.Format(time.RFC3339))
	slow := r.dice.Named("belief")
	for ahead := time.Duration(0); ahead <= foretoldFor; ahead += time.Hour {
		to := at.Truncate(time.Hour).Add(ahead)
		if to.After(r.Outside.To()) {
			break
		}
		days := ahead.Hours() / 24
		errK := 0.5*slow.Smooth(to, 12*time.Hour) + 0.5*run.Smooth(to, 8*time.Hour) + 1.3*days*run.Named("drift").Normal(1)
		w.Hours = append(w.Hours, farm.WeatherHour{At: to, TempC: r.Outside.At(to) + off + errK})
	}
	return w
}

// Next is when the bin next passes its limit after a time.
func (r *ExposedRun) Next(after time.Time) (time.Time, bool) {
	if r.Above {
		return r.Temperature.Rises(r.LimitC, after)
	}
	return r.Temperature.Falls(r.LimitC, after)
}

// Nearest is how far inside its limit the bin stays from a time to another, K; below 0
// where it passes it.
func (r *ExposedRun) Nearest(from, to time.Time) float64 {
	if r.Above {
		v, _ := r.Temperature.Max(from, to)
		return r.LimitC - v
	}
	v, _ := r.Temperature.Min(from, to)
	return v - r.LimitC
}

// Passings are when the bin passes its limit after having been inside for so long, from
// a time on.
func (r *ExposedRun) Passings(from time.Time, inside time.Duration) (all []time.Time) {
	for at, ok := r.Next(from); ok; at, ok = r.Next(at.Add(sampling)) {
		if r.Nearest(at.Add(-inside), at.Add(-sampling)) > 0 {
			all = append(all, at)
		}
	}
	return all
}
