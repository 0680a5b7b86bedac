package rules

import (
	"math"
	"slices"
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
	species []farm.Species
	ambient *probe // nil when there is none
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
	bands  struct{ temp, moist farm.Bands }
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

// A level is what a zone is judged by: the median over its believed probes of
// each one's running median.
type level struct {
	Value   float64
	At      time.Time // of the newest reading behind it
	Arrived time.Time // of that reading
}

// clock gives the zone's own time at arrival time m: device clocks and
// arrival may differ, but both go on at the same rate.
func (l level) clock(m time.Time) time.Time { return l.At.Add(m.Sub(l.Arrived)) }

// limits are the four limits of one quantity; an infinite one is never passed.
type limits struct{ lowHarm, lowMild, highMild, highHarm float64 }

var nan = math.NaN()

// without has no limits at all.
var without = limits{math.Inf(-1), math.Inf(-1), math.Inf(1), math.Inf(1)}

func of(b farm.Bands) limits {
	return limits{b.Survive.Low, b.Thrive.Low, b.Thrive.High, b.Survive.High}
}

func newZone(f *farm.Farm, b *bin, spec farm.Zone, byID map[string]*probe) *zone {
	z := &zone{bin: b, spec: spec, who: subject{Bin: b.spec.Name, Zone: spec.Name}}
	z.Husbandry.Curves = newCurves()
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
	z.bands.temp, z.bands.moist = husbandry.ZoneBands(f, *b.spec, spec)
	z.heat, z.water = z.heatLimits(), z.waterLimits()
	z.LimitsName = z.limitsName()
	return z
}

// heatLimits of a living zone come from its species unless it has bands of
// its own: mild when every species is past its thrive band, harm when any is
// past its survive band.
func (z *zone) heatLimits() limits {
	switch {
	case !z.bands.temp.IsZero():
		return of(z.bands.temp)
	case z.spec.Aim == farm.Living && len(z.bin.species) > 0:
		coldNow, coldSoon, hotToday, hotNow := husbandry.TempLimits(z.bin.species)
		return limits{coldNow, coldSoon, hotToday, hotNow}
	}
	return without
}

// waterLimits: a sifting zone is meant to dry, so only its end is a limit.
func (z *zone) waterLimits() limits {
	switch {
	case z.bands.moist.IsZero():
		return without
	case z.spec.Aim == farm.Sifting:
		l := without
		l.lowHarm = z.bands.moist.Survive.Low
		return l
	}
	return of(z.bands.moist)
}

// holding tells whether judging holds still at t.
func (z *zone) holding(t time.Time) bool { return t.Before(z.Hold) }

func (z *zone) record(c farm.Condition) *record { return z.Records[c] }

// sense takes a believed reading into the zone's level and judges it.
func (s *State) sense(z *zone, p *probe, r *farm.Reading) {
	switch p.spec.Measures {
	case farm.Temperature:
		z.Temp = s.level(z.temps, r)
		if !z.holding(r.At) {
			s.judgeHeat(z, r.At)
		}
	case farm.Moisture:
		z.Moist = s.level(z.moists, r)
		if !z.holding(r.At) {
			s.judgeWater(z, r.At)
			if z.spec.Aim == farm.Sifting {
				s.judgeSifting(z, r.At)
			}
		}
	}
}

// level is the median over the probes that are fresh.
func (s *State) level(probes []*probe, r *farm.Reading) level {
	var room [8]float64
	vs := room[:0]
	for _, p := range probes {
		if v, ok := p.Level.Median(); ok && p.fresh(s.now) {
			vs = append(vs, v)
		}
	}
	slices.Sort(vs)
	n := len(vs) // at least one: the probe that has just spoken
	return level{(vs[(n-1)/2] + vs[n/2]) / 2, r.At, s.now}
}

// anyFresh tells whether one of the probes can speak for the zone at m.
func anyFresh(probes []*probe, m time.Time) bool {
	for _, p := range probes {
		if p.fresh(m) {
			return true
		}
	}
	return false
}

// judgeBands lets the clocks of the band conditions run to arrival time m,
// where patience is waiting for that. A zone without a fresh reading is not
// judged: its clocks stop, and what is raised stays raised.
func (s *State) judgeBands(z *zone, m time.Time) {
	if z.Hot.waits() || z.Cold.waits() {
		if anyFresh(z.temps, m) {
			s.judgeHeat(z, z.Temp.clock(m))
		} else {
			z.Hot.stop()
			z.Cold.stop()
		}
	}
	if z.Dry.waits() || z.Wet.waits() {
		if anyFresh(z.moists, m) {
			s.judgeWater(z, z.Moist.clock(m))
		} else {
			z.Dry.stop()
			z.Wet.stop()
		}
	}
}

func (s *State) judgeHeat(z *zone, at time.Time) {
	v, margin := z.Temp.Value, z.spec.Margin.Temperature
	z.Hot.judgeHigh(at, v, z.heat.highMild, z.heat.highHarm, margin, z.spec.Patience)
	z.Cold.judgeLow(at, v, z.heat.lowMild, z.heat.lowHarm, margin, z.spec.Patience)
	s.band(z, farm.TooHot, z.Hot.urgency(farm.Today), at, v, true)
	s.band(z, farm.TooCold, z.Cold.urgency(farm.Soon), at, v, false)
}

func (s *State) judgeWater(z *zone, at time.Time) {
	v, margin := z.Moist.Value, z.spec.Margin.Moisture
	z.Dry.judgeLow(at, v, z.water.lowMild, z.water.lowHarm, margin, z.spec.Patience)
	z.Wet.judgeHigh(at, v, z.water.highMild, z.water.highHarm, margin, z.spec.Patience)
	s.band(z, farm.TooDry, z.Dry.urgency(farm.Today), at, v, false)
	s.band(z, farm.TooWet, z.Wet.urgency(farm.Today), at, v, true)
}

// band brings a band condition to an urgency.
func (s *State) band(z *zone, c farm.Condition, u farm.Urgency, at time.Time, v float64, up bool) {
	r := z.record(c)
	r.reach(v, up)
	if r.Urgency == u {
		return
	}
	s.emit(r, at, z.who, c, verdict{u, s.sayingBand(z, c, u, at)})
	r.reach(v, up)
}
