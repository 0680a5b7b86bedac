package ingest

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// A Doubter says which readings are not to be believed. It holds every probe
// against its own past, and against its neighbours where that helps:
//
//   - a number by itself: fault codes, out of range, no number (plain.go);
//   - an exact 0 °C that neither neighbours nor past explain (zero.go);
//   - a jump out of the reach of the last believed readings: a spike, or too
//     fast for a bin; believed once it has lasted (jump.go);
//   - standing still, unlike itself (frozen.go);
//   - moving away from the other probes of its zone (twin.go).
//
// A doubt must never cost a keeper an honest reading: where a rule could meet
// honest data, it waits until the probe has shown how it behaves.
//
// A Doubter reads no clock and needs a bounded amount of memory a probe.
// Readings are to be given in journal order. It is for one goroutine.
type Doubter struct {
	farm     *farm.Farm
	index    map[string]int // probe id → place in farm.Probes
	tracks   []track        // what is known of each probe
	contexts []probeContext // where each probe is, and who is around it
	pairs    []pair
}

// NewDoubter makes a doubter that knows nothing yet of the probes of f. The
// farm must not change afterwards.
func NewDoubter(f *farm.Farm) *Doubter {
	d := &Doubter{
		farm:   f,
		index:  make(map[string]int, len(f.Probes)),
		tracks: make([]track, len(f.Probes)),
	}
	for i, p := range f.Probes {
		d.index[p.ID] = i
	}
	d.findContexts()
	return d
}

// Judge decides r.Doubt, overwriting what is there, and learns from the
// reading. A probe that is not of this farm is judged by nothing.
func (d *Doubter) Judge(r *farm.Reading) {
	i, ok := d.index[r.Probe]
	if !ok {
		return
	}
	r.Doubt = d.decide(i, *r)
	d.learn(i, *r)
}

// Learn takes in a reading whose doubt was decided before. Learning a judged
// reading gives the very state that judging it gave.
func (d *Doubter) Learn(r farm.Reading) {
	if i, ok := d.index[r.Probe]; ok {
		d.learn(i, r)
	}
}

// decide looks and changes nothing, so that Judge and Learn agree.
func (d *Doubter) decide(i int, r farm.Reading) farm.Doubt {
	p := d.farm.Probes[i]
	if doubt := checkRange(p, r.Value); doubt != farm.NoDoubt {
		return doubt
	}
	t, at := &d.tracks[i], r.At.UnixMilli()
	switch {
	case p.Measures == farm.Battery:
		return farm.NoDoubt
	case r.Uncertain && !r.Retained && r.At.UnixMilli() >= t.Last:
		return d.standing(i, r, at)
	case !t.follows(r):
		return farm.NoDoubt
	}
	switch {
	case d.allZero(i, r.Value, at):
		return farm.FaultCode
	case d.frozen(i, r.Raw, at):
		return farm.Frozen
	}
	if doubt := d.jump(i, r.Value, at); doubt != farm.NoDoubt {
		return doubt
	}
	if d.apartLong(i, r.Value, at) {
		return farm.TwinApart
	}
	return farm.NoDoubt
}

// standing is the doubt in which a probe stands, for a reading without a true
// time: such a one raises no doubt and ends none, and while the probe is on the
// bench it is no word of the bin either.
func (d *Doubter) standing(i int, r farm.Reading, at int64) farm.Doubt {
	t := &d.tracks[i]
	switch {
	case t.Still.Frozen && r.Raw == t.Still.Raw:
		return farm.Frozen
	case t.Jump.N > 0 && (!d.plausible(i, r.Value, at) || d.stillInAir(i, r.Value, at)):
		if t.Jump.Fast {
			return farm.TooFast
		}
		return farm.Spike
	case t.Twin.Apart != 0 && d.apartLong(i, r.Value, at):
		return farm.TwinApart
	}
	return farm.NoDoubt
}

// learn takes in a reading. Numbers that mean nothing, and readings that do
// not follow in time, teach nothing.
func (d *Doubter) learn(i int, r farm.Reading) {
	t, at := &d.tracks[i], r.At.UnixMilli()
	if r.Uncertain && !r.Retained {
		t.recant()
	}
	if d.farm.Probes[i].Measures == farm.Battery || !t.follows(r) {
		return
	}
	t.remember(at, millis(d.farm.Probes[i].Every))
	t.Last = at
	if meaningless(r) || checkRange(d.farm.Probes[i], r.Value) != farm.NoDoubt {
		return
	}
	d.learnStill(i, r, at)
	switch r.Doubt {
	case farm.Frozen:
	case farm.Spike, farm.TooFast:
		d.learnJump(i, r.Value, at, r.Doubt)
	default:
		d.learnTwins(i, r.Value, at, r.Doubt == farm.NoDoubt)
		d.learnLevel(i, r.Value, at, r.Doubt == farm.NoDoubt)
	}
	t.hear(at)
}

// meaningless tells whether a reading says nothing about the bin.
func meaningless(r farm.Reading) bool {
	return r.Doubt == farm.FaultCode || r.Doubt == farm.OutOfRange || r.Doubt == farm.NotANumber || !farm.Finite(r.Raw)
}

// Jotted takes in what a keeper did, in journal order with the readings: a
// step right after work at a bin is honest, and so is one zone warming after a
// feed.
func (d *Doubter) Jotted(j farm.Jot) {
	if j.Uncertain { // it explains no step at any time
		return
	}
	at := j.At.UnixMilli()
	for i := range d.tracks {
		pl := d.contexts[i]
		if pl.bin < 0 || d.farm.Bins[pl.bin].Name != j.Bin || j.Zone != "" && pl.zoneName(d.farm) != j.Zone {
			continue
		}
		t := &d.tracks[i]
		t.Worked = max(t.Worked, at)
		if slices.Contains([]farm.JotKind{farm.Fed, farm.Turned, farm.Watered, farm.Bedded}, j.What) {
			t.Stirred = max(t.Stirred, at)
		}
		if slices.Contains([]farm.JotKind{farm.Turned, farm.Bedded, farm.Sifted, farm.Stocked, farm.Emptied}, j.What) {
			t.Handled = max(t.Handled, at)
		}
		if j.What == farm.Emptied || j.What == farm.Stocked {
			t.Renewed = max(t.Renewed, at)
		}
	}
}

// millis is a length of time as the tracks keep it.
func millis(d time.Duration) int64 { return d.Milliseconds() }

// hours is the length of time between two moments.
func hours(from, to int64) float64 { return float64(to-from) / 3.6e6 }

// A probeContext says where a probe is and who is around it, as indexes into the farm;
// -1 stands for none.
type probeContext struct {
	bin, zone  int
	air        bool  // a temperature probe of no zone hangs in the air
	ambient    int   // the probe in the air around its bin
	room       int   // the same, else the only probe that hangs in the air at all
	reference  int   // a temperature probe whose moves this one ought to share
	neighbours []int // other temperature probes, of the same bin where there are any
	twins      []int // other probes of its zone with its quantity
	limits     limits
}

func (p probeContext) zoneName(f *farm.Farm) string { return f.Bins[p.bin].Zones[p.zone].Name }

// living tells whether a zone can heat itself.
func (p probeContext) living(f *farm.Farm) bool {
	return p.bin >= 0 && f.Bins[p.bin].Zones[p.zone].Aim == farm.Living
}

// findContexts finds every probe's context and pairs the twins.
func (d *Doubter) findContexts() {
	for i := range d.farm.Probes {
		d.contexts = append(d.contexts, d.contextOf(i))
	}
	for i := range d.contexts {
		pl := &d.contexts[i]
		pl.limits = limitsOf(d.farm.Probes[i].Measures, pl.air)
		pl.neighbours = d.around(i)
		pl.reference = d.referenceOf(i)
		pl.room = d.roomOf(i)
		for _, j := range pl.twins {
			if i < j {
				d.pairs = append(d.pairs, pair{a: i, b: j})
			}
		}
	}
}

// contextOf finds the first zone that names a probe.
func (d *Doubter) contextOf(i int) probeContext {
	p := d.farm.Probes[i]
	pl := probeContext{bin: -1, zone: -1, ambient: -1, reference: -1}
	for b, bin := range d.farm.Bins {
		for z, zone := range bin.Zones {
			if !slices.Contains(zone.Probes, p.ID) {
				continue
			}
			pl.bin, pl.zone = b, z
			if a, ok := d.index[bin.Ambient]; ok && a != i && d.farm.Probes[a].Measures == farm.Temperature {
				pl.ambient = a
			}
			pl.twins = d.like(i, zone.Probes)
			return pl
		}
	}
	pl.air = p.Measures == farm.Temperature
	return pl
}

// like finds, among some ids, the other probes of the same quantity.
func (d *Doubter) like(i int, ids []string) []int {
	var out []int
	for _, id := range ids {
		if j, ok := d.index[id]; ok && j != i && d.farm.Probes[j].Measures == d.farm.Probes[i].Measures && !slices.Contains(out, j) {
			out = append(out, j)
		}
	}
	return out
}

// around finds the other temperature probes of the bin, else of the farm.
func (d *Doubter) around(i int) []int {
	var near, far []int
	for j, p := range d.farm.Probes {
		if j == i || p.Measures != farm.Temperature {
			continue
		}
		far = append(far, j)
		if d.contexts[j].bin >= 0 && d.contexts[j].bin == d.contexts[i].bin {
			near = append(near, j)
		}
	}
	if len(near) > 0 {
		return near
	}
	return far
}

// referenceOf finds the probe whose moves show that there was something to
// follow: the air around the bin, else the nearest other temperature.
func (d *Doubter) referenceOf(i int) int {
	pl := d.contexts[i]
	switch {
	case d.farm.Probes[i].Measures != farm.Temperature:
		return -1
	case pl.ambient >= 0:
		return pl.ambient
	case len(pl.neighbours) > 0:
		return pl.neighbours[0]
	}
	return -1
}

// roomOf finds the probe that shares the air in which this one would lie on the
// bench.
func (d *Doubter) roomOf(i int) int {
	pl := d.contexts[i]
	if pl.ambient >= 0 || pl.bin < 0 {
		return pl.ambient
	}
	only := -1
	for j := range d.contexts {
		switch {
		case !d.contexts[j].air:
		case only >= 0:
			return -1
		default:
			only = j
		}
	}
	return only
}

// fresh gives a probe's last believed value when it is not too old at a time.
func (d *Doubter) fresh(i int, at int64) (float64, bool) {
	t := &d.tracks[i]
	every := t.every(d.farm.Probes[i])
	return t.Good, t.GoodAt != 0 && at-t.GoodAt <= 3*every && t.GoodAt-at <= 3*every
}
