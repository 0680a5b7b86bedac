package ingest

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// A Doubter says which readings are not to be believed. It holds every probe
// against its own past, and against its neighbours where that helps:
//
//   - a number by itself: fault codes, out of range, no number, and an exact 0 °C
//     that neither neighbours nor past explain (calibration.go);
//   - a jump out of the reach of the last believed readings: a spike, or too
//     fast for a bin; believed once it has lasted (jump.go), unless it is what a
//     probe reads that was left outside the bin (lifted.go);
//   - standing still, unlike itself (frozen.go, flicker.go);
//   - noise that has grown (unsteady.go);
//   - wet at the end of its scale, without water that others know of (flooded.go);
//   - in another one's place (swapped.go);
//   - gone off over weeks from its room and its twins (drifted.go);
//   - moving away from the other probes of its zone (twin.go).
//
// How fast a quantity may change is in its row of farm.Quantities. A doubt must
// never cost a keeper an honest reading: where a rule could meet honest data, it
// waits until the probe has shown how it behaves.
//
// A Doubter reads no clock and needs a bounded amount of memory a probe.
// Readings are to be given in journal order. It is for one goroutine.
type Doubter struct {
	probes []*probe // in the order of the farm's
	byID   map[string]*probe
	pairs  []*pair // of twins
}

// A probe is one probe of the farm, with what is around it and what is known of
// it.
type probe struct {
	farm.Probe
	row  *farm.QuantityRow
	rate farm.Rate // how fast it may change where it is
	surroundings
	track
}

// Surroundings are where a probe is and who is around it.
type surroundings struct {
	bin, zone  string // "" for a probe of no zone
	living     bool   // its zone can heat itself
	air        bool   // a temperature probe of no zone hangs in the air
	ambient    *probe // in the air around its bin; nil for none
	room       *probe // the same, else the only probe that hangs in the air at all
	reference  *probe // a temperature whose moves this one ought to share
	neighbours []*probe
	twins      []twin   // other probes of its zone with its quantity
	alike      []*probe // all of its quantity, itself too; one list for them all
}

// NewDoubter makes a doubter that knows nothing yet of the probes of f. The
// farm must not change afterwards.
func NewDoubter(f *farm.Farm) *Doubter {
	d := &Doubter{byID: make(map[string]*probe, len(f.Probes))}
	for _, spec := range f.Probes {
		p := &probe{Probe: spec, row: spec.Row()}
		d.probes = append(d.probes, p)
		d.byID[p.ID] = p
	}
	for _, p := range d.probes {
		d.place(p, f)
		p.rate = p.row.RateIn(p.bin == "")
	}
	alike := map[farm.Quantity][]*probe{}
	for _, p := range d.probes {
		d.findNeighbours(p)
		alike[p.Measures] = append(alike[p.Measures], p)
	}
	for _, p := range d.probes {
		p.alike = alike[p.Measures]
	}
	return d
}

func (p *probe) temperature() bool { return p.Measures == farm.Temperature }
func (p *probe) moisture() bool    { return p.Measures == farm.Moisture }

// place finds the first zone that names a probe.
func (d *Doubter) place(p *probe, f *farm.Farm) {
	for _, b := range f.Bins {
		for _, z := range b.Zones {
			if !slices.Contains(z.Probes, p.ID) {
				continue
			}
			p.bin, p.zone, p.living = b.Name, z.Name, z.Aim == farm.Living
			if a := d.byID[b.Ambient]; a != nil && a != p && a.temperature() {
				p.ambient = a
			}
			for _, id := range z.Probes {
				if o := d.byID[id]; o != nil && o != p && o.Measures == p.Measures && !p.hasTwin(o) {
					p.twins = append(p.twins, d.pairUp(p, o))
				}
			}
			return
		}
	}
	p.air = p.temperature()
}

// findNeighbours finds the temperatures around a probe: others of its bin, else
// of the farm; the one whose moves it shares, the air around the bin or else the
// nearest; and the one that shares the air in which it would lie on the bench.
func (d *Doubter) findNeighbours(p *probe) {
	var near, far, air []*probe
	for _, o := range d.probes {
		if o.air {
			air = append(air, o)
		}
		if o == p || !o.temperature() {
			continue
		}
		far = append(far, o)
		if o.bin != "" && o.bin == p.bin {
			near = append(near, o)
		}
	}
	if p.neighbours = near; len(near) == 0 {
		p.neighbours = far
	}
	if p.temperature() {
		if p.reference = p.ambient; p.reference == nil && len(p.neighbours) > 0 {
			p.reference = p.neighbours[0]
		}
	}
	if p.room = p.ambient; p.room == nil && p.bin != "" && len(air) == 1 {
		p.room = air[0]
	}
}

// Judge decides r.Doubt, overwriting what is there, and learns from the
// reading. A probe that is not of this farm is judged by nothing.
func (d *Doubter) Judge(r *farm.Reading) {
	if p := d.byID[r.Probe]; p != nil {
		r.Doubt = p.decide(*r)
		p.learn(*r)
	}
}

// Learn takes in a reading whose doubt was decided before. Learning a judged
// reading gives the very state that judging it gave.
func (d *Doubter) Learn(r farm.Reading) {
	if p := d.byID[r.Probe]; p != nil {
		p.learn(r)
	}
}

// decide looks and changes nothing, so that Judge and Learn agree.
func (p *probe) decide(r farm.Reading) farm.Doubt {
	if doubt := rangeDoubt(&p.Probe, r.Value); doubt != farm.NoDoubt {
		return doubt
	}
	at := r.At.UnixMilli()
	switch {
	case p.Measures == farm.Battery:
		return farm.NoDoubt
	case r.Uncertain && !r.Retained && at >= p.Last:
		return p.standingDoubt(r, at)
	case !p.follows(r):
		return farm.NoDoubt
	case p.shorted(r.Value, at):
		return farm.FaultCode
	case p.frozen(r.Raw, at):
		return farm.Frozen
	case p.swapped() != nil:
		return farm.Swapped
	}
	if doubt := p.jumpDoubt(r.Value, at); doubt != farm.NoDoubt {
		return doubt
	}
	switch {
	case p.flooded(r.Value):
		return farm.Flooded
	case p.Rough.Grown:
		return farm.Unsteady
	case p.apartLong(r.Value, at):
		return farm.TwinApart
	case p.Slowly.In:
		return farm.Drifted
	}
	return farm.NoDoubt
}

// standingDoubt is the doubt in which a probe stands, for a reading without a
// true time: such a one raises no doubt and ends none, and while the probe is on
// the bench it is no word of the bin either.
func (p *probe) standingDoubt(r farm.Reading, at int64) farm.Doubt {
	switch {
	case p.Still.Frozen && r.Raw == p.Still.Raw:
		return farm.Frozen
	case p.swapped() != nil:
		return farm.Swapped
	case p.Jump.N > 0 && (!p.plausible(r.Value, at) || p.stillInAir(r.Value, at)):
		if p.Jump.Fast {
			return farm.TooFast
		}
		return farm.Spike
	case p.flooded(r.Value):
		return farm.Flooded
	case p.Rough.Grown:
		return farm.Unsteady
	case p.Twin.Apart != 0 && p.apartLong(r.Value, at):
		return farm.TwinApart
	case p.Slowly.In:
		return farm.Drifted
	}
	return farm.NoDoubt
}

// learn takes in a reading. Numbers that mean nothing, and readings that do
// not follow in time, teach nothing.
func (p *probe) learn(r farm.Reading) {
	at := r.At.UnixMilli()
	if r.Uncertain && !r.Retained {
		p.recant()
	}
	if p.Measures == farm.Battery || !p.follows(r) {
		return
	}
	p.remember(at, millis(p.Every))
	p.Last = at
	meaningless := r.Doubt == farm.FaultCode || r.Doubt == farm.OutOfRange || r.Doubt == farm.NotANumber || !farm.Finite(r.Raw)
	if meaningless || rangeDoubt(&p.Probe, r.Value) != farm.NoDoubt {
		return
	}
	p.learnStill(r, at)
	if p.swaps() {
		p.learnMarks(r.Value, at)
	}
	switch r.Doubt {
	case farm.Frozen:
	case farm.Spike, farm.TooFast:
		p.learnJump(r.Value, at, r.Doubt)
	default:
		if p.temperature() && p.bin != "" {
			p.Rough.learn(r.Value, at, p.Step, p.every())
		}
		p.learnFlood(r.Value, at)
		p.learnSlowly(r.Value, at)
		p.learnTwins(r.Value, at, r.Doubt == farm.NoDoubt)
		p.learnLevel(r.Value, at, r.Doubt == farm.NoDoubt)
	}
	p.hear(at)
}

// What a keeper's work explains besides a jump near it: one zone that warms or
// gets wet, a probe that was moved, contents that are new.
var (
	stirs   = []farm.JotKind{farm.Fed, farm.Turned, farm.Watered, farm.Bedded}
	handles = []farm.JotKind{farm.Turned, farm.Bedded, farm.Sifted, farm.Stocked, farm.Emptied}
	renews  = []farm.JotKind{farm.Emptied, farm.Stocked}
)

// Jotted takes in what a keeper did, in journal order with the readings: a
// step right after work at a bin is honest, and so is one zone warming after a
// feed.
func (d *Doubter) Jotted(j farm.Jot) {
	if j.Uncertain { // it explains no step at any time
		return
	}
	at := j.At.UnixMilli()
	for _, p := range d.probes {
		if p.bin == "" || p.bin != j.Bin || j.Zone != "" && p.zone != j.Zone {
			continue
		}
		p.Worked = max(p.Worked, at)
		for _, e := range []struct {
			kinds []farm.JotKind
			last  *int64
		}{{stirs, &p.Stirred}, {handles, &p.Handled}, {renews, &p.Renewed}} {
			if slices.Contains(e.kinds, j.What) {
				*e.last = max(*e.last, at)
			}
		}
	}
}

// millis is a length of time as the tracks keep it.
func millis(d time.Duration) int64 { return d.Milliseconds() }

// hours is the length of time between two moments.
func hours(from, to int64) float64 { return float64(to-from) / 3.6e6 }
