package ingest

import (
	"math"
	"time"

	"binwatchd/internal/farm"
)

// A twin keeps how a probe stands to the others of its zone.
type twin struct {
	Slow       float64 // mean over about half a day of the probe's level
	SlowAt     int64
	Agreed     float64 // value when it last agreed with a twin
	AgreedAt   int64
	AgreedSlow float64 // Slow at that time
	Apart      int64   // since when it has moved away from all its twins; 0 when it has not
}

// A pair keeps how two probes of one zone usually differ: one may lie deeper,
// or swing more through the day.
type pair struct {
	a, b   int
	Usual  float64 // mean of a's value less b's
	Spread float64 // mean distance of the difference from Usual
	Seen   int64   // time over which that was learnt, ms
	At     int64   // when it was learnt last
}

// When twins disagree. Common practice, no source. A spot in a living zone may
// warm by itself, so a rise there needs more, and after a feed far more; a
// spot near the top follows the weather first; and water poured at one end
// rises there only.
const (
	twinWarm     = 72 * time.Hour      // no judgement before a pair is known for so long
	twinMemory   = 5 * 24 * time.Hour  // over which the usual difference is learnt
	twinLasts    = 30 * time.Minute    // how long they must be apart
	twinForgives = 14 * 24 * time.Hour // then their difference is taken for usual
	twinFeeds    = 7 * 24 * time.Hour  // how long a feed may warm one spot, or water wet it
	twinQuick    = 3 * time.Hour       // agreement this recent can be compared directly
	twinSpreads  = 3                   // beyond so many mean distances from the usual difference

	twinTemperature = 5.0  // K
	twinSelfHeating = 8.0  // K
	twinWeather     = 12.0 // K, toward the room's air
	twinFed         = 20.0 // K
	twinMoisture    = 15.0 // points of %
	twinWatered     = 40.0 // points of %
)

// apartLong tells whether a value has moved away from every twin, for a while.
func (d *Doubter) apartLong(i int, v float64, at int64) bool {
	since := d.tracks[i].Twin.Apart
	if since == 0 || !d.apart(i, v, at) {
		return false
	}
	return at-since >= millis(twinLasts) && at-since < millis(twinForgives)
}

// apart tells whether a value is unusually far from that of every fresh twin,
// and it is this probe that moved. Where both moved, neither is accused. A
// probe that has been apart for a while must come halfway back.
func (d *Doubter) apart(i int, v float64, at int64) bool {
	mine, part, any := d.moved(i, v, at), 1.0, false
	if since := d.tracks[i].Twin.Apart; since != 0 && at-since >= millis(twinLasts) {
		part = 0.5
	}
	for _, j := range d.places[i].twins {
		other, ok := d.fresh(j, at)
		if !ok {
			continue
		}
		p, sign := d.pairOf(i, j)
		off := math.Abs(sign*(v-other) - p.Usual)
		if p.Seen < millis(twinWarm) || off <= part*(d.tolerance(i, v, at)+twinSpreads*p.Spread) {
			return false
		}
		if mine <= 1.5*d.moved(j, other, at)+0.1*d.tolerance(i, v, at) {
			return false
		}
		any = true
	}
	return any
}

// moved is how far a probe is from where it was when it last agreed with a
// twin. If that was long ago the day's swing has gone over it, and slow means
// are compared instead.
func (d *Doubter) moved(i int, v float64, at int64) float64 {
	t := &d.tracks[i].Twin
	if at-t.AgreedAt <= millis(twinQuick) {
		return math.Abs(v - t.Agreed)
	}
	return math.Abs(t.Slow - t.AgreedSlow)
}

// tolerance is how far a probe may honestly move from its twins.
func (d *Doubter) tolerance(i int, v float64, at int64) float64 {
	t := &d.tracks[i]
	rises := v > t.Twin.Agreed
	stirred := t.Stirred != 0 && at-t.Stirred <= millis(twinFeeds)
	switch temperature := d.farm.Probes[i].Measures == farm.Temperature; {
	case temperature && rises && stirred:
		return twinFed
	case temperature && d.towardTheRoom(i, v, at):
		return twinWeather
	case temperature && rises && d.places[i].living(d.farm):
		return twinSelfHeating
	case temperature:
		return twinTemperature
	case rises && stirred:
		return twinWatered
	}
	return twinMoisture
}

// towardTheRoom tells whether the room's air explains a value: a probe near the
// top follows a frost or a hot day sooner than one deep down, but no further
// than the air itself.
func (d *Doubter) towardTheRoom(i int, v float64, at int64) bool {
	a := d.places[i].ambient
	if a < 0 {
		return false
	}
	room, ok := d.fresh(a, at)
	was := d.tracks[i].Twin.Agreed
	return ok && min(was, room) <= v && v <= max(was, room)
}

// pairOf finds the pair of two twins, and the sign of their difference in it.
func (d *Doubter) pairOf(i, j int) (*pair, float64) {
	for k := range d.pairs {
		switch p := &d.pairs[k]; {
		case p.a == i && p.b == j:
			return p, 1
		case p.a == j && p.b == i:
			return p, -1
		}
	}
	return &pair{}, 1
}

// learnTwins takes in how a probe stands to its twins. While it is apart it
// teaches nothing, until its difference has lasted so long that it is taken
// for usual.
func (d *Doubter) learnTwins(i int, v float64, at int64, believed bool) {
	if len(d.places[i].twins) == 0 {
		return
	}
	t := &d.tracks[i].Twin
	t.slow(v, at)
	switch apart := d.apart(i, v, at); {
	case apart && t.Apart == 0:
		t.Apart = at
	case apart && at-t.Apart >= millis(twinForgives):
		d.restartTwins(i)
	case !apart:
		t.Apart = 0
		d.learnPairs(i, v, at, believed)
	}
}

// slow follows the probe's level over about half a day.
func (t *twin) slow(v float64, at int64) {
	if t.SlowAt == 0 || at-t.SlowAt > 2*day {
		t.Slow = v
	}
	w := 1 - math.Exp(-hours(t.SlowAt, at)/12)
	t.Slow += w * (v - t.Slow)
	t.SlowAt = at
}

// learnPairs takes in the differences to the fresh twins.
func (d *Doubter) learnPairs(i int, v float64, at int64, believed bool) {
	if !believed {
		return
	}
	for _, j := range d.places[i].twins {
		other, ok := d.fresh(j, at)
		if !ok {
			continue
		}
		p, sign := d.pairOf(i, j)
		diff := sign * (v - other)
		half := (d.tolerance(i, v, at) + twinSpreads*p.Spread) / 2
		agree := p.Seen == 0 || math.Abs(diff-p.Usual) <= half
		p.learn(diff, at, agree)
		if agree {
			d.agree(i, v, at)
			d.agree(j, other, at)
		}
	}
}

// agree notes where a probe is while it agrees with a twin.
func (d *Doubter) agree(i int, v float64, at int64) {
	t := &d.tracks[i].Twin
	t.Agreed, t.AgreedAt, t.AgreedSlow = v, at, t.Slow
}

// learn takes in one difference, weighed by the time it stood for. One that is
// halfway to being unusual counts little, so that a fault that grows slowly is
// not taken for usual on its way.
func (p *pair) learn(diff float64, at int64, agree bool) {
	dt := min(max(at-p.At, 0), millis(time.Hour))
	if !agree && p.Seen >= millis(twinWarm) {
		dt /= 4
	}
	p.At = max(p.At, at)
	if p.Seen == 0 {
		p.Usual, p.Spread, p.Seen = diff, 0, max(dt, 1)
		return
	}
	p.Seen = min(p.Seen+dt, millis(twinMemory))
	w := float64(dt) / float64(p.Seen)
	p.Usual += w * (diff - p.Usual)
	p.Spread += w * (math.Abs(diff-p.Usual) - p.Spread)
}

// restartTwins forgets how a probe differs from its twins: it has honestly
// moved to a new level.
func (d *Doubter) restartTwins(i int) {
	d.tracks[i].Twin.Apart = 0
	for _, j := range d.places[i].twins {
		p, _ := d.pairOf(i, j)
		p.Usual, p.Spread, p.Seen, p.At = 0, 0, 0, 0
		d.tracks[j].Twin.Apart = 0
	}
}
