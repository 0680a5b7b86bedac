package rules

import (
	"math"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// lidOff is how long after a jot judging holds still: the lid is open, the
// probe may lie on the bench, and what it says then is no news.
const lidOff = time.Hour

// A bin is one container and the worms in it.
type bin struct {
	spec    *farm.Bin
	worms   []husbandry.Worms
	species []farm.Species // of the worms
	ambient *probe         // nil when there is none
	zones   []*zone
}

// A zone is what conditions are mostly about.
type zone struct {
	bin    *bin
	spec   farm.Zone
	who    subject
	temps  []*probe
	moists []*probe
	heat   limits
	water  limits
	bands  struct{ temp, moist farm.Bands } // as shown; zero: none
	aim    farm.Band                        // of moisture: what water and bedding aim at
	zoneMemory
}

// zoneMemory is the part that goes into a snapshot.
type zoneMemory struct {
	Temp, Moist         level
	Hot, Cold, Dry, Wet ladder
	Hold                time.Time // judging holds still until then
	Records             map[farm.Condition]*record
	Husbandry           husbandryMemory
	LimitsName          uint64 // of the limits in force; 0: not known
}

// limits are the edges of one quantity of a zone.
type limits struct{ low, high edge }

var nan = math.NaN()

func newZone(f *farm.Farm, b *bin, spec farm.Zone, byID map[string]*probe) *zone {
	z := &zone{bin: b, spec: spec, who: subject{Bin: b.spec.Name, Zone: spec.Name}}
	z.Husbandry.Curves, z.Husbandry.Past = newCurves(), newPast()
	z.Records = map[farm.Condition]*record{}
	for _, c := range farm.Conditions {
		z.Records[c] = &record{}
	}
	for _, id := range spec.Probes {
		p := byID[id]
		p.zone, p.who.Bin, p.who.Zone = z, z.who.Bin, z.who.Zone
		switch p.spec.Measures {
		case farm.Temperature:
			z.temps = append(z.temps, p)
		case farm.Moisture:
			z.moists = append(z.moists, p)
		}
	}
	z.setLimits(f)
	z.LimitsName = z.limitsName()
	return z
}

// setLimits makes the edges that a zone is judged by. Heat is due a day sooner
// than cold, in which worms only rest.
func (z *zone) setLimits(f *farm.Farm) {
	temp, moist := husbandry.ZoneLimits(f, *z.bin.spec, z.spec)
	z.bands.temp, z.bands.moist = temp.Bands(), moist.Bands()
	z.heat = limits{
		low:  edge{limit: [...]float64{farm.Soon: temp.Low.Half, farm.Today: math.Inf(-1), farm.Now: temp.Low.Harm}},
		high: edge{up: true, limit: byUrgency(temp.High)},
	}
	z.water = limits{low: edge{limit: byUrgency(moist.Low)}, high: edge{up: true, limit: byUrgency(moist.High)}}
	_, own := husbandry.ZoneBands(f, *z.bin.spec, z.spec)
	if z.aim = own.Thrive; own.IsZero() {
		z.aim = husbandry.MoistureAim(z.bin.worms)
	}
	if z.spec.Aim == farm.Sifting {
		z.bands.moist = own // shown and foreseen, though only its end is judged
	}
}

// byUrgency: past most of the worms' thrive bands is due today, past those of
// half of them soon, past survive now.
func byUrgency(s husbandry.Side) [farm.Now + 1]float64 {
	return [...]float64{farm.Soon: s.Half, farm.Today: s.Most, farm.Now: s.Harm}
}

// holding tells whether judging holds still at t.
func (z *zone) holding(t time.Time) bool { return t.Before(z.Hold) }

func (z *zone) record(c farm.Condition) *record { return z.Records[c] }

// sense takes a believed reading into the zone's level and judges it.
func (s *State) sense(z *zone, p *probe, r *farm.Reading) {
	switch p.spec.Measures {
	case farm.Temperature:
		s.gauge(&z.Temp, z.temps, r)
		if !z.holding(r.At) {
			s.judgeHeat(z, z.Temp.At)
		}
	case farm.Moisture:
		s.gauge(&z.Moist, z.moists, r)
		if !z.holding(r.At) {
			s.judgeWater(z, z.Moist.At)
			if z.spec.Aim == farm.Sifting {
				s.judgeSifting(z, z.Moist.At)
			}
		}
	}
}

// gauge brings a level to a reading that has just been taken. The zone's time
// never falls, for the clocks of two devices may differ, and one of them may
// pour out what it has kept: patience is not over because of that.
func (s *State) gauge(l *level, probes []*probe, r *farm.Reading) {
	if !r.At.Before(l.At) {
		l.At, l.Arrived = r.At, s.now
	}
	l.measure(probes, s.now)
	l.setApart(probes, s.now)
}

// judgeBands lets the clocks of the band conditions run to arrival time m,
// where patience is waiting for that. A zone without a fresh reading is not
// judged: its clocks stop, and what is raised stays raised.
func (s *State) judgeBands(z *zone, m time.Time) {
	if z.Hot.waits() || z.Cold.waits() {
		if z.Temp.measure(z.temps, m); anyFresh(z.temps, m) {
			s.judgeHeat(z, z.Temp.clock(m))
		} else {
			z.Hot.stop()
			z.Cold.stop()
		}
	}
	if z.Dry.waits() || z.Wet.waits() {
		if z.Moist.measure(z.moists, m); anyFresh(z.moists, m) {
			s.judgeWater(z, z.Moist.clock(m))
		} else {
			z.Dry.stop()
			z.Wet.stop()
		}
	}
}

func (s *State) judgeHeat(z *zone, at time.Time) {
	s.band(z, farm.TooHot, &z.Hot, z.heat.high, at)
	s.band(z, farm.TooCold, &z.Cold, z.heat.low, at)
}

func (s *State) judgeWater(z *zone, at time.Time) {
	s.band(z, farm.TooDry, &z.Dry, z.water.low, at)
	s.band(z, farm.TooWet, &z.Wet, z.water.high, at)
}

// band judges one band condition at the zone's own time at: thrive by the
// middle of its probes, harm by the one that is worst off. That a probe has
// fallen silent neither raises nor eases anything: past is what is past with
// and without the probes that are missed, back what is back with and without.
func (s *State) band(z *zone, c farm.Condition, l *ladder, e edge, at time.Time) {
	now, margin := z.judgedBy(c), z.marginOf(c)
	worst := now.worst(e.up).Value
	for u := farm.Soon; u <= farm.Now; u++ {
		with, without := now.Steady, now.Value
		past := e.past(u, with) && e.past(u, without)
		if u == farm.Now {
			with, without = now.worstMissed(z.probesOf(c), e.up, s.now), worst
			past = e.past(u, worst)
		}
		back := e.inside(u, with, margin) && e.inside(u, without, margin)
		l.rung(u).judge(at, past, back, z.spec.Patience)
	}
	r, u := z.record(c), l.urgency()
	r.reach(worst, e.up)
	if r.Urgency == u {
		return
	}
	s.emit(r, at, z.who, c, verdict{u, s.sayingBand(z, c, u, at)})
	r.reach(worst, e.up)
}

// probesOf are the zone's probes of what a band condition is about.
func (z *zone) probesOf(c farm.Condition) []*probe {
	if ofHeat(c) {
		return z.temps
	}
	return z.moists
}
