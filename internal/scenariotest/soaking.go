package scenariotest

import (
	"iter"
	"math"
	"strconv"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/physics"
)

// A Soaking is some months of a bin that its keeper waters, of which it is known
// how much water it truly wants. Its matter is a dozen parcels: six layers, of
// the middle where the can goes and of the rest. Water runs down, creeps from
// parcel to parcel over days, faster where it is wet; some of it runs through;
// the top dries by the day's warmth. The probe sits in one parcel. That is
// neither the model which the program reckons with nor the heap of package
// physics.
type Soaking struct {
	Seed  uint64
	Probe Probe
	Told  float64 // what the keeper says it holds, as a part of the truth; 0: nothing
	Start time.Time
	Days  int
}

// Soakings are n cases with seeds that count up from the one given, going
// through the probes.
func Soakings(n int, seed uint64, told float64, start time.Time) []Soaking {
	cases := make([]Soaking, n)
	for i := range cases {
		cases[i] = Soaking{
			Seed: seed + uint64(i), Probe: []Probe{Fine, Cheap, Coarse}[i%3], Told: told, Start: start, Days: 84,
		}
	}
	return cases
}

const (
	layers  = 6
	soaking = sampling
)

// A parcel is a part of the bin's matter.
type parcel struct{ dryKg, waterKg float64 }

func (p parcel) ratio() float64 { return p.waterKg / p.dryKg }

// A Soaked is a soaking being lived through.
type Soaked struct {
	Soaking
	At      time.Time
	VolumeL float64

	dice    physics.Dice
	matter  [2][layers]parcel // the middle and the rest, from the top
	middle  float64           // part of the matter that the middle is
	creeps  float64           // of the difference between two layers, a day
	across  float64           // likewise between the middle and the rest
	holds   float64           // kg/kg past which water runs down
	evenly  float64           // part of a can that is spread over all, the rest goes to the middle
	passes  float64           // part of a can that goes down the cracks, usually
	driesKg float64           // a day
	gauge   physics.Gauge
	where   [2]int // the probe's parcel
}

// Begin sets the bin up.
func (c Soaking) Begin() *Soaked {
	d := physics.Dice(c.Seed).Named("soaking" + string(c.Probe))
	_, gauge := gauges(c.Probe, d)
	gauge.Jumps = time.Duration(d.Between(0, 10, 40)*24) * time.Hour
	s := &Soaked{
		Soaking: c, At: c.Start, dice: d, gauge: gauge,
		VolumeL: math.Exp(d.Between(1, math.Log(15), math.Log(180))),
		middle:  d.Between(2, 0.5, 0.85),
		creeps:  layers * layers / (math.Pi * math.Pi * math.Exp(d.Between(3, math.Log(0.3), math.Log(1.5)))),
		across:  1 / math.Exp(d.Between(4, math.Log(1), math.Log(5))),
		holds:   physics.Ratio(d.Between(5, 78, 84)),
		evenly:  d.Between(6, 0.7, 1),
		passes:  d.Between(7, 0, 0.3),
		where:   [2]int{int(d.Between(8, 0, 1.3)), 1 + int(d.Between(9, 0, 4))},
	}
	density := 0.18 * math.Exp(0.3*d.Normal(10)) // of dry matter, kg/L; the guess is 0.18, from 0.12 to 0.28
	dryKg := s.VolumeL * density
	s.driesKg = dryKg * math.Exp(d.Between(11, math.Log(0.012), math.Log(0.06)))
	from := d.Between(12, 66, 72)
	for i, part := range []float64{s.middle, 1 - s.middle} {
		for k := range layers {
			w := physics.Ratio(from + 1.5*d.Normal(int64(20+10*i+k)))
			kg := dryKg * part / layers * d.Between(int64(50+10*i+k), 0.7, 1.3)
			s.matter[i][k] = parcel{kg, kg * w}
		}
	}
	return s
}

// DryKg is the dry matter of the bin.
func (s *Soaked) DryKg() (kg float64) {
	for i := range s.matter {
		for _, p := range s.matter[i] {
			kg += p.dryKg
		}
	}
	return kg
}

func (s *Soaked) waterKg() (kg float64) {
	for i := range s.matter {
		for _, p := range s.matter[i] {
			kg += p.waterKg
		}
	}
	return kg
}

// Needs is the water that would bring the mean moisture of the bin to aimPct, L.
func (s *Soaked) Needs(aimPct float64) float64 { return s.DryKg()*physics.Ratio(aimPct) - s.waterKg() }

// Farm is the bin's farm as a configuration would give it.
func (s *Soaked) Farm(species []farm.Species, feeds []farm.Feed) farm.Farm {
	z := farm.Zone{
		Name: ZoneName, Aim: farm.Living, Probes: []string{MoistProbe}, Share: 1, Patience: 30 * time.Minute, DryMassKg: s.Told * s.DryKg(),
		Margin: map[farm.Quantity]float64{farm.Moisture: 2}, LookAhead: farm.LookAhead{Heating: 12 * time.Hour, Drying: 7 * 24 * time.Hour},
	}
	return farm.Farm{
		Name: "soaking " + strconv.FormatUint(s.Seed, 10), Units: farm.Metric, Location: time.UTC, Species: species, Feeds: feeds,
		Probes: []farm.Probe{{ID: MoistProbe, Topic: "case/" + MoistProbe, Measures: farm.Moisture, Unit: farm.Percent, Every: 2 * soaking}},
		Bins: []farm.Bin{{
			Name: BinName, VolumeL: s.VolumeL, WormsKg: s.VolumeL / 60, Species: []farm.Share{{Species: "red", Fraction: 1}}, Zones: []farm.Zone{z},
		}},
	}
}

// Events are what the rules get, in order. While one is handled, the truth is that
// of its time; a tick comes just before the keeper does anything.
func (s *Soaked) Events() iter.Seq[farm.Event] {
	return func(yield func(farm.Event) bool) {
		if !yield(farm.Event{Arrived: s.At, Kind: farm.EventStart}) || !yield(farm.Event{Arrived: s.At, Kind: farm.EventLink, Up: true}) {
			return
		}
		for n := 0; n < s.Days*24*int(time.Hour/soaking); n++ {
			s.pass()
			if n%2 == 1 && s.dice.Named("lost").Uniform(int64(n)) > 1.0/200 {
				v := s.Read()
				if !yield(farm.Event{Arrived: s.At, Kind: farm.EventReading, Reading: farm.Reading{Probe: MoistProbe, At: s.At, Raw: v, Value: v}}) {
					return
				}
			}
			if s.visitOn(s.At) && !yield(farm.Event{Arrived: s.At, Kind: farm.EventTick}) {
				return
			}
			for _, j := range s.act(n) {
				if !yield(farm.Event{Arrived: s.At, Kind: farm.EventJot, Jot: j}) {
					return
				}
			}
		}
	}
}

// visitOn tells whether the keeper comes at a time: at nine, every three to eight
// days.
func (s *Soaked) visitOn(at time.Time) bool {
	days := int64(s.dice.Named("visits").Between(0, 3, 9))
	into := at.Sub(s.Start)
	return into%(24*time.Hour) == 9*time.Hour && int64(into.Hours()/24)%days == 2
}

// act is what the keeper does. One watering in eight or so is not written down;
// now and then the bin is fed as well, or turned.
func (s *Soaked) act(n int) (jots []farm.Jot) {
	d := s.dice.Named("act " + strconv.Itoa(n))
	forgets := !s.visitOn(s.At) && s.visitOn(s.At.Add(-time.Duration(24+int(d.Between(0, 0, 40)))*time.Hour)) && d.Uniform(1) < 1.0/6
	if !s.visitOn(s.At) && !forgets {
		return nil
	}
	need := s.Needs(77.5)
	if need < 0.5*s.DryKg() { // 75 % and more
		return nil
	}
	litres := math.Round(10*min(need, s.DryKg()*d.Between(2, 0.2, 0.6))) / 10
	s.water(litres, d)
	if forgets {
		return nil
	}
	jots = append(jots, farm.Jot{At: s.At, Bin: BinName, Zone: ZoneName, What: farm.Watered, Litres: litres, By: "mqtt"})
	if d.Uniform(3) < 0.15 {
		kg := math.Round(10*0.03*s.DryKg()) / 10
		for i := range s.matter {
			p := &s.matter[i][0]
			share := kg * []float64{s.middle, 1 - s.middle}[i]
			p.dryKg, p.waterKg = p.dryKg+0.15*share, p.waterKg+0.85*share
		}
		jots = append(jots, farm.Jot{At: s.At, Bin: BinName, Zone: ZoneName, What: farm.Fed, Kg: kg, Of: "scraps", By: "mqtt"})
	}
	return jots
}

// water pours a can: some of it over all, the rest over the middle; some goes down
// the cracks, more where it is dry, and part of that runs out.
func (s *Soaked) water(litres float64, d physics.Dice) {
	even := min(1, max(0, s.evenly+0.15*d.Normal(10)))
	middle := even*s.middle + 1 - even
	for i, part := range []float64{middle, 1 - middle} {
		cracks := min(0.6, max(0, s.passes+0.08*d.Normal(11)))
		deep := litres * part * cracks
		s.matter[i][0].waterKg += litres*part - deep
		for k := 1; k < layers; k++ {
			s.matter[i][k].waterKg += 0.8 * deep / (layers - 1)
		}
	}
}

// pass lets a sampling pass.
func (s *Soaked) pass() {
	const dt = float64(soaking) / float64(24*time.Hour) // days
	hour := s.At.Sub(s.Start).Hours()
	warm := max(0.1, 1+0.6*math.Sin(2*math.Pi*(hour-9)/24)+0.4*s.dice.Named("air").Smooth(s.At, 60*time.Hour))
	for i, part := range []float64{s.middle, 1 - s.middle} {
		col := &s.matter[i]
		for k := range layers - 1 {
			a, b := &col[k], &col[k+1]
			wet := (a.ratio() + b.ratio()) / 2
			flow := min(a.dryKg, b.dryKg) * s.creeps * min(3, math.Exp(0.8*(wet-2.5))) * (a.ratio() - b.ratio()) * dt
			if over := a.ratio() - s.holds; over > 0 {
				flow += over * a.dryKg * min(1, 6*dt)
			}
			a.waterKg, b.waterKg = a.waterKg-flow, b.waterKg+flow
		}
		low := &col[layers-1]
		low.waterKg -= max(0, low.ratio()-s.holds) * low.dryKg * min(1, 6*dt)
		lost := s.driesKg * part * warm * dt
		for k := range col {
			from := []float64{0.6, 0.2, 0.05, 0.05, 0.05, 0.05}[k]
			col[k].waterKg -= lost * from * min(1.4, max(0.05, col[k].ratio()/2.5))
		}
	}
	for k := range layers {
		a, b := &s.matter[0][k], &s.matter[1][k]
		flow := min(a.dryKg, b.dryKg) * s.across * (a.ratio() - b.ratio()) * dt
		a.waterKg, b.waterKg = a.waterKg-flow, b.waterKg+flow
	}
	s.At = s.At.Add(soaking)
}

// Pocket is the moisture about the probe, %.
func (s *Soaked) Pocket() float64 {
	col, k := s.matter[s.where[0]], s.where[1]
	return physics.Percent((col[k-1].ratio() + 2*col[k].ratio() + col[min(k+1, layers-1)].ratio()) / 4)
}

// Read is what the probe says.
func (s *Soaked) Read() float64 {
	warm := 18 + 3*math.Sin(2*math.Pi*(s.At.Sub(s.Start).Hours()-9)/24)
	return min(100, max(0, s.gauge.Read(s.At, s.Pocket(), warm)))
}
