package scenariotest

import (
	"fmt"
	"iter"
	"math"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/physics"
)

// Fault is what becomes of a probe on a shelf.
type Fault string

const (
	NoFault Fault = "honest"
	Soak    Fault = "soak"   // water gets into a moisture probe: it climbs to the end of its scale within hours
	Drift   Fault = "drift"  // a probe goes off by a little every day
	Swap    Fault = "swap"   // a keeper puts two probes back into each other's place
	Freeze  Fault = "freeze" // a probe repeats one number
	Noise   Fault = "noise"  // the noise of a thermometer grows to 2.5 K, at once or within days
)

// Faults are all of them.
var Faults = []Fault{NoFault, Soak, Drift, Swap, Freeze, Noise}

// A Shelf is two bins that share a room, and what becomes of one probe, or of two that
// change places. Each bin is physics of its own; the second may stand on a mat that
// warms it. There is a visit every week, at which water is poured near a probe or away
// from it, so that it shows at once or within hours. How much and how fast is from
// memory.
type Shelf struct {
	Fault    Fault
	Measures farm.Quantity // of the faulty probe; of an honest shelf ""
	Twins    bool          // each bin has a second pair of probes
	Room     Room
	Probe    Probe
	Every    time.Duration
	Jots     bool // the keeper writes down what is done
	Seed     uint64
	Start    time.Time
	Days     int
}

func (c Shelf) String() string {
	return fmt.Sprintf("%s %s in %s, %s every %s, twins %v, jots %v, %d", c.Fault, c.Measures, c.Room, c.Probe, c.Every, c.Twins, c.Jots, c.Seed)
}

// Shelves are n of a fault, of any room, probe and pace.
func Shelves(fault Fault, n int, seed uint64, start time.Time) []Shelf {
	out := make([]Shelf, n)
	for i := range out {
		d := physics.Dice(seed + uint64(i)).Named("shelf")
		s := Shelf{
			Fault: fault, Seed: seed + uint64(i), Start: start.AddDate(0, 0, int(d.Between(0, 0, 365))), Days: 60,
			Room: []Room{Cellar, Shed, House, Yard, Glasshouse}[i%5], Probe: []Probe{Fine, Cheap, Coarse}[i/5%3],
			Every: []time.Duration{10 * time.Minute, 10 * time.Minute, 30 * time.Minute, time.Hour}[int(d.Between(1, 0, 4))],
			Twins: d.Uniform(2) < 0.5, Jots: d.Uniform(3) < 0.5, Measures: farm.Moisture,
		}
		switch {
		case fault == NoFault:
			s.Measures = ""
			if i%4 == 0 {
				s.Days = 365
			}
		case fault == Noise, fault != Soak && i%2 == 0:
			s.Measures = farm.Temperature
		}
		if fault == Drift {
			s.Days = 130
		}
		out[i] = s
	}
	return out
}

// A ShelfRun is a shelf lived through.
type ShelfRun struct {
	Shelf
	Probes []*ShelfProbe
	Began  time.Time     // when the fault did; zero for none
	Faulty []*ShelfProbe // the one that is faulty, or the two that changed places
	Air    Signal
	Jotted []farm.Jot
	poured []poured
	dice   physics.Dice
}

// A ShelfProbe is one probe with the truth where it was meant to be.
type ShelfProbe struct {
	ID, Bin  string
	Measures farm.Quantity
	Truth    Signal
	gauge    physics.Gauge
}

// A poured is when a bin was watered.
type poured struct {
	bin string
	at  time.Time
}

// A shelfBin is one bin of a shelf being lived.
type shelfBin struct {
	heap    *physics.Heap
	matW    float64
	pours   []pour
	probes  []*ShelfProbe
	depths  []float64 // of each probe: 0 in the skin, 1 in the core
	leftDry float64   // moisture at which it is watered
}

// A pour is water given near a probe or away from it: what shows there beyond the
// mean of the bin.
type pour struct {
	at           time.Time
	points       []float64 // by probe
	comes, fades float64   // h
}

func (p pour) adds(i int, at time.Time) float64 {
	h := at.Sub(p.at).Hours()
	if h < 0 {
		return 0
	}
	return p.points[i] * (1 - math.Exp(-h/p.comes)) * math.Exp(-h/p.fades)
}

// Run lives the shelf through.
func (c Shelf) Run() *ShelfRun {
	d := physics.Dice(c.Seed).Named(string(c.Fault) + string(c.Room) + string(c.Measures))
	r := &ShelfRun{Shelf: c, dice: d, Air: Signal{From: c.Start, Step: sampling}}
	climate := climateOf(d)
	climate.MeanC, climate.SeasonK = d.Between(20, 8, 13), d.Between(21, 6, 10)
	room := roomOf(c.Room, climate.At(c.Start).TempC)
	if c.Room == Cellar {
		room.TempC = climate.MeanC + 2
	}
	bins := []*shelfBin{r.bin("first", 0, room.TempC), r.bin("second", 1, room.TempC)}
	visit := time.Duration(d.Between(22, 8, 20)*6) * sampling
	for at := c.Start.Add(-warmUp); at.Before(c.Start.AddDate(0, 0, c.Days)); at = at.Add(tick) {
		out := climate.At(at)
		air := room.Step(tick.Seconds(), out, false)
		for i, b := range bins {
			if into := at.Sub(c.Start); into > 0 && into%(7*24*time.Hour) == visit+time.Duration(i)*sampling {
				r.visit(b, at, room.TempC)
			}
			around := air
			around.ShineW += b.matW * max(0, min(1, 26-b.heap.TempC()))
			if c.Room != Yard {
				around.RainKgM2S = 0
			}
			around.RainKgM2S *= 0.3 // a lid that leaks
			b.heap.Step(tick.Seconds(), around)
		}
		if at.Before(c.Start) || at.Sub(c.Start)%sampling != 0 {
			continue
		}
		r.Air.V = append(r.Air.V, room.TempC)
		for _, b := range bins {
			b.sample(at)
		}
	}
	r.breakDown()
	return r
}

// bin sets one up.
func (r *ShelfRun) bin(name string, n int64, near float64) *shelfBin {
	d := r.dice.Named(name)
	s := stockOf([]Bin{Bed, Barrel, Tray}[int(d.Between(0, 0, 3))]).varied(d)
	moisture := d.Between(10, 70, 80)
	b := &shelfBin{heap: physics.Build(s.Make, s.DryKg, s.SlowKg, moisture, near), leftDry: moisture - d.Between(11, 1, 6)}
	if n == 1 && d.Uniform(12) < 0.5 {
		b.matW = d.Between(13, 5, 15) * s.LossWK
	}
	add := func(id string, q farm.Quantity) {
		pd := d.Named(id)
		temp, moist := gauges(r.Probe, pd)
		p := &ShelfProbe{ID: name + "-" + id, Bin: name, Measures: q, gauge: temp, Truth: Signal{From: r.Start, Step: sampling}}
		if q == farm.Moisture {
			p.gauge = moist
		}
		b.probes, b.depths, r.Probes = append(b.probes, p), append(b.depths, pd.Between(0, 0.2, 1)), append(r.Probes, p)
	}
	add("t", farm.Temperature)
	add("m", farm.Moisture)
	if r.Twins {
		add("t2", farm.Temperature)
		add("m2", farm.Moisture)
	}
	return b
}

// visit waters what has sunk and feeds a little.
func (r *ShelfRun) visit(b *shelfBin, at time.Time, airC float64) {
	d := r.dice.Named("visit " + b.probes[0].ID + at.Format(time.DateOnly))
	jot := func(j farm.Jot) {
		if j.At, j.Bin, j.Zone, j.By = at, b.probes[0].Bin, ZoneName, "mqtt"; r.Jots {
			r.Jotted = append(r.Jotted, j)
		}
	}
	if m := b.heap.Moisture(); m < b.leftDry {
		litres := b.heap.DryKg() * (physics.Ratio(b.leftDry+d.Between(0, 2, 6)) - physics.Ratio(m))
		b.heap.Put(physics.Water(litres, airC))
		p := pour{at: at, points: make([]float64, len(b.probes)), comes: 0.05, fades: d.Between(1, 2, 40)}
		if d.Uniform(2) < 0.5 {
			p.comes = d.Between(3, 0.3, 5)
		}
		for i := range p.points {
			p.points[i] = d.Between(int64(10+i), -2, 14)
		}
		b.pours, r.poured = append(b.pours, p), append(r.poured, poured{b.probes[0].Bin, at})
		jot(farm.Jot{What: farm.Watered, Litres: litres})
	}
	if d.Uniform(4) < 0.6 {
		kg := b.heap.DryKg() * d.Between(5, 0.01, 0.08)
		b.heap.Put(scraps.Portion(kg, airC))
		jot(farm.Jot{What: farm.Fed, Kg: kg, Of: "scraps"})
	}
}

// sample notes the truth at each probe.
func (b *shelfBin) sample(at time.Time) {
	core, skin := b.heap.Core, b.heap.Skin
	for i, p := range b.probes {
		v := b.depths[i]*core.TempC + (1-b.depths[i])*skin.TempC
		if p.Measures == farm.Moisture {
			v = b.depths[i]*physics.Percent(core.Ratio()) + (1-b.depths[i])*physics.Percent(skin.Ratio())
			for _, w := range b.pours {
				v += w.adds(i, at)
			}
			v = min(v, 91) // what stuff that drains can hold
		}
		p.Truth.V = append(p.Truth.V, v)
	}
}

// breakDown decides which probe goes bad and when.
func (r *ShelfRun) breakDown() {
	if r.Fault == NoFault {
		return
	}
	var of []*ShelfProbe
	for _, p := range r.Probes {
		if p.Measures == r.Measures {
			of = append(of, p)
		}
	}
	d := r.dice.Named("fault")
	r.Began = r.Start.Add(time.Duration(d.Between(0, 21, 45)*24*60) * time.Minute)
	first := of[int(d.Between(1, 0, float64(len(of))))]
	if r.Fault == Soak && d.Uniform(9) < 0.3 { // it was poured over
		for _, w := range r.poured {
			if w.bin == first.Bin && w.at.After(r.Began) {
				r.Began = w.at
				break
			}
		}
	}
	r.Faulty = []*ShelfProbe{first}
	if r.Fault == Swap {
		for _, p := range of {
			if p.Bin != first.Bin {
				r.Faulty = append(r.Faulty, p)
				break
			}
		}
	}
}

// Shows is by how much the fault puts a probe off in the end, unsigned: of two that
// changed places, how far apart their places were on the day before.
func (r *ShelfRun) Shows() float64 {
	switch r.Fault {
	case Swap:
		a, b := r.Faulty[0].Truth, r.Faulty[1].Truth
		return math.Abs(a.Mean(r.Began.AddDate(0, 0, -1), r.Began) - b.Mean(r.Began.AddDate(0, 0, -1), r.Began))
	case Soak, Drift:
	default:
		return 0
	}
	most := 0.0
	for at := r.Began; at.Before(r.Air.To()); at = at.Add(time.Hour) {
		most = max(most, r.offAt(at))
	}
	return most
}

// offAt is by how much the faulty probe is off at a moment, unsigned.
func (r *ShelfRun) offAt(at time.Time) float64 {
	p := r.Faulty[0]
	return math.Abs(r.reads(p, at, p.Truth.At(at)) - p.Truth.At(at))
}

// reads is what a probe would say without noise where the truth is v.
func (r *ShelfRun) reads(p *ShelfProbe, at time.Time, v float64) float64 {
	h := at.Sub(r.Began).Hours()
	d := r.dice.Named("fault")
	switch {
	case r.Fault == NoFault || h < 0:
	case r.Fault == Soak && p == r.Faulty[0]:
		end, takes := d.Between(2, 94, 104), d.Between(3, 0.2, 9)
		if h > d.Between(4, 5, 60)*24 { // it dries out in the end
			return v
		}
		v += (end - v) * (1 - math.Exp(-h/takes*2))
	case r.Fault == Drift && p == r.Faulty[0]:
		perDay := d.Between(2, 0.06, 0.35)
		if p.Measures == farm.Moisture {
			perDay = d.Between(2, 0.3, 1)
		}
		if d.Uniform(3) < 0.5 {
			perDay = -perDay
		}
		v += perDay * h / 24
	case r.Fault == Swap && (p == r.Faulty[0] || p == r.Faulty[1]):
		other := r.Faulty[0]
		if p == other {
			other = r.Faulty[1]
		}
		if out := d.Between(2, 0.05, 0.7); h < out { // they lie in the air
			if p.Measures == farm.Moisture {
				return 3
			}
			return r.Air.At(at) + (v-r.Air.At(at))*math.Exp(-h*8)
		}
		v = other.Truth.At(at)
	}
	return v
}

// gauged is what a probe says.
func (r *ShelfRun) gauged(p *ShelfProbe, at time.Time) float64 {
	days, d := at.Sub(r.Began).Hours()/24, r.dice.Named("fault")
	if days < 0 || len(r.Faulty) == 0 || p != r.Faulty[0] {
		days = 0
	}
	if r.Fault == Freeze && days > 0 {
		at = r.Began
	}
	v := p.gauge.Read(at, r.reads(p, at, p.Truth.At(at)), r.Air.At(at))
	if r.Fault == Noise && days > 0 {
		v += 2.5 * min(1, days/d.Between(2, 0.01, 10)) * d.Named("noise").Normal(at.Unix())
	}
	return v
}

// Farm is the shelf's farm; species and feeds are the tables in force.
func (r *ShelfRun) Farm(species []farm.Species, feeds []farm.Feed) *farm.Farm {
	f := &farm.Farm{Name: string(r.Fault), Units: farm.Metric, Location: time.UTC, Species: species, Feeds: feeds}
	for _, name := range []string{"first", "second"} {
		z := farm.Zone{
			Name: ZoneName, Aim: farm.Living, Share: 1, Patience: 30 * time.Minute,
			Margin: map[farm.Quantity]float64{farm.Temperature: 0.5, farm.Moisture: 2}, LookAhead: defaultLookAhead,
		}
		for _, p := range r.Probes {
			if p.Bin == name {
				z.Probes = append(z.Probes, p.ID)
			}
		}
		f.Bins = append(f.Bins, farm.Bin{Name: name, VolumeL: 100, Ambient: AirProbe, Species: []farm.Share{{Species: "red", Fraction: 1}}, Zones: []farm.Zone{z}})
	}
	for _, p := range r.Probes {
		unit := farm.Celsius
		if p.Measures == farm.Moisture {
			unit = farm.Percent
		}
		f.Probes = append(f.Probes, farm.Probe{ID: p.ID, Topic: "case/" + p.ID, Measures: p.Measures, Unit: unit, Every: r.Every})
	}
	f.Probes = append(f.Probes, farm.Probe{ID: AirProbe, Topic: "case/" + AirProbe, Measures: farm.Temperature, Unit: farm.Celsius, Every: r.Every})
	return f
}

// Events are what the probes say and the keeper writes, with a tick every hour.
func (r *ShelfRun) Events() iter.Seq[farm.Event] {
	return func(yield func(farm.Event) bool) {
		jots := r.Jotted
		air := physics.Gauge{Dice: r.dice.Named("air probe"), White: 0.05, Step: 0.0625}
		for at := r.Start; at.Before(r.Air.To()); at = at.Add(r.Every) {
			for ; len(jots) > 0 && !jots[0].At.After(at); jots = jots[1:] {
				if !yield(farm.Event{Arrived: jots[0].At, Kind: farm.EventJot, Jot: jots[0]}) {
					return
				}
			}
			if at.Minute() == 0 && !yield(farm.Event{Arrived: at, Kind: farm.EventTick}) {
				return
			}
			say := func(id string, after time.Duration, v float64) bool {
				at := at.Add(after)
				if r.dice.Named("lost "+id).Uniform(at.Unix()) < 1.0/200 {
					return true
				}
				return yield(farm.Event{Arrived: at, Kind: farm.EventReading, Reading: farm.Reading{Probe: id, At: at, Raw: v, Value: v}})
			}
			for i, p := range r.Probes {
				v := r.gauged(p, at)
				if p.Measures == farm.Moisture {
					v = min(max(v, 0), 100)
				}
				if !say(p.ID, time.Duration(i+1)*time.Second, v) {
					return
				}
			}
			if !say(AirProbe, 10*time.Second, air.Read(at, r.Air.At(at), r.Air.At(at))) {
				return
			}
		}
	}
}
