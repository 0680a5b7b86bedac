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

	Lag     float64 // mean distance from Slow: what a steady rise makes of it
	Swing   float64 // mean square of the rest, over about a day: how much of the day it has
	Usual   float64 // the same while it agreed with a twin
	Far     int64   // since when it has been unusually far from its twins, for whatever reason; 0 when it is not
	Stepped bool    // a step that no work explains took it away

	Marks   [twinMarks]mark // of the last day, newest last
	Climbed int64           // when it last climbed over a twin as feed heats; 0 for never
}

// A mark is how far a probe's slow level was above that of its coolest twin.
type mark struct {
	Above float64 // K
	At    int64   // 0 when there is none
}

// A pair keeps how two probes of one zone usually differ: one may lie deeper,
// or swing more through the day.
type pair struct {
	a, b   int
	Usual  float64 // mean of a's value less b's
	Lately float64 // the same over a few days
	Spread float64 // mean distance of the difference from that
	Seen   int64   // time over which that was learnt, ms
	At     int64   // when it was learnt last
}

// When twins disagree. Common practice, no source. A spot in a living zone may
// warm by itself, however far; a spot near the top follows the weather first;
// and water poured at one end rises there only.
const (
	twinWarm     = 72 * time.Hour      // no judgement before a pair is known for so long
	twinStepWarm = 6 * time.Hour       // nor of a step
	twinMemory   = 30 * 24 * time.Hour // over which the usual difference is learnt, so that a drift of weeks is none
	twinLately   = 3 * 24 * time.Hour  // over which it may move and not count as spread
	twinLasts    = 30 * time.Minute    // how long they must be apart
	twinForgives = 14 * 24 * time.Hour // then a difference that is not large is taken for usual
	twinClimbs   = 1.6                 // K over its twin within a day: feed that heats a spot far does so once, a drift doesn't
	twinShows    = 24 * time.Hour      // within which a climb shows
	twinMarks    = 5
	twinMarkGap  = 6 * time.Hour
	twinFeeds    = 7 * 24 * time.Hour // how long a feed may warm one spot, or water wet it
	twinQuick    = 3 * time.Hour      // agreement this recent can be compared directly
	twinSpreads  = 3                  // beyond so many mean distances from the usual difference

	twinTemperature = 5.0  // K
	twinLarge       = 8.0  // K: never usual by lasting
	twinWeather     = 12.0 // K, toward the room's air
	twinMoisture    = 15.0 // points of %
	twinWatered     = 40.0 // points of %

	swingMemory  = 24 * time.Hour
	usualMemory  = 5 * 24 * time.Hour
	swingShared  = 0.05      // of its usual mean square: it misses the day
	swingHalf    = 0.5       // of a twin's: the twin has it
	swingMatters = 0.2 * 0.2 // K²: below that there is no day to miss
)

// apartLong tells whether a value has moved away from every twin, for a while.
func (d *Doubter) apartLong(i int, v float64, at int64) bool {
	t := &d.tracks[i]
	since := t.Twin.Apart
	if since == 0 && t.Jump.N > 0 && !t.worked(at) && (v < t.V || d.farm.Probes[i].Measures == farm.Temperature) {
		since = t.Jump.Begun // it has stepped apart
	}
	if since == 0 || !d.apart(i, v, at) {
		return false
	}
	return at-since >= millis(twinLasts) && !d.forgiven(i, v, since, at)
}

// forgiven tells whether a difference has lasted so long that it is taken for
// usual, or the keeper has handled the bin since. A large one is never usual by
// lasting: it would judge the bin.
func (d *Doubter) forgiven(i int, v float64, since, at int64) bool {
	t := &d.tracks[i]
	large := twinWatered
	if d.farm.Probes[i].Measures == farm.Temperature {
		large = twinLarge
	}
	hot := d.farm.Probes[i].Measures == farm.Temperature && v > t.Twin.Agreed
	lasting := at-since >= millis(twinForgives) && math.Abs(v-t.Twin.Agreed) <= large && !hot
	return lasting || t.Handled > since+workedBefore
}

// apart tells whether a value is unusually far from that of every fresh twin,
// and it is this probe that moved. Where both moved, neither is accused. A
// probe that has been apart for a while must come halfway back. One that is hot
// where feed may heat is not accused for that.
func (d *Doubter) apart(i int, v float64, at int64) bool {
	mine, part, any := d.moved(i, v, at), 1.0, false
	warm := millis(twinWarm)
	if d.tracks[i].stepped() {
		warm = millis(twinStepWarm)
	}
	if since := d.tracks[i].Twin.Apart; since != 0 && at-since >= millis(twinLasts) {
		part = 0.5
	}
	for _, j := range d.contexts[i].twins {
		other, ok := d.fresh(j, at)
		if !ok {
			continue
		}
		p, sign := d.pairOf(i, j)
		above := v - other - sign*p.Usual
		if off := math.Abs(above); p.Seen < warm || off <= part*(d.tolerance(i, v, at)+twinSpreads*p.Spread) {
			return false
		}
		if above > 0 && d.heats(i, at) || above < 0 && d.contexts[i].living(d.farm) && d.towardTheRoom(i, v, at) {
			return false
		}
		if mine <= 1.5*d.moved(j, other, at)+0.1*d.tolerance(i, v, at) {
			return false
		}
		any = true
	}
	return any
}

// heats tells whether a probe that is above its twin may well be hot where feed
// heats: in a living zone, risen above it as heat rises, and without a step, and
// still sharing the day with it and moving at all.
func (d *Doubter) heats(i int, at int64) bool {
	t, c := &d.tracks[i].Twin, d.tracks[i].Jump
	if d.farm.Probes[i].Measures != farm.Temperature || !d.contexts[i].living(d.farm) || t.Stepped || c.N > 0 && c.Far > 0 {
		return false
	}
	drifts := t.Far != 0 && at-t.Far > millis(twinShows) && (t.Climbed == 0 || t.Climbed < t.AgreedAt-millis(twinFeeds))
	return !drifts && !d.missesTheDay(i, at) && !d.stuck(i, at)
}

// learnClimb notes how far a probe climbs over its coolest twin within a day.
func (d *Doubter) learnClimb(i int, at int64) {
	t := &d.tracks[i].Twin
	if last := t.Marks[twinMarks-1]; last.At != 0 && at-last.At < millis(twinMarkGap) {
		return
	}
	above, known := math.Inf(-1), false
	for _, j := range d.contexts[i].twins {
		if by := t.Slow - d.tracks[j].Twin.Slow; by > above {
			if _, ok := d.fresh(j, at); ok {
				above, known = by, true
			}
		}
	}
	if !known {
		return
	}
	copy(t.Marks[:], t.Marks[1:])
	t.Marks[twinMarks-1] = mark{above, at}
	for _, m := range t.Marks {
		if m.At != 0 {
			if above-m.Above >= twinClimbs {
				t.Climbed = at
			}
			break
		}
	}
}

// stuck tells whether a probe repeats one number for far longer than it ever did.
func (d *Doubter) stuck(i int, at int64) bool {
	s := &d.tracks[i].Still
	return s.Changes >= enoughChanges && s.lasts(at, frozenAfter, frozenAloneTime)
}

// stepped tells whether a step took a probe away from its twins, or is about to.
func (t *track) stepped() bool { return t.Twin.Stepped || t.Jump.N > 0 }

// missesTheDay tells whether a probe no longer swings with the day as it did,
// though a twin does.
func (d *Doubter) missesTheDay(i int, at int64) bool {
	t := &d.tracks[i].Twin
	if t.Usual < swingMatters || t.Swing > swingShared*t.Usual {
		return false
	}
	for _, j := range d.contexts[i].twins {
		other := &d.tracks[j].Twin
		if _, ok := d.fresh(j, at); ok && other.Usual >= swingMatters && other.Swing > swingHalf*other.Usual {
			return true
		}
	}
	return false
}

// far tells whether a value is unusually far from that of every fresh twin,
// whoever moved.
func (d *Doubter) far(i int, v float64, at int64) bool {
	any := false
	for _, j := range d.contexts[i].twins {
		other, ok := d.fresh(j, at)
		if !ok {
			continue
		}
		p, sign := d.pairOf(i, j)
		if math.Abs(sign*(v-other)-p.Usual) <= d.tolerance(i, v, at)+twinSpreads*p.Spread {
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
	if at-t.AgreedAt <= millis(twinQuick) || d.tracks[i].Jump.N > 0 {
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
	case temperature && d.towardTheRoom(i, v, at):
		return twinWeather
	case temperature:
		return twinTemperature
	case rises && stirred:
		return twinWatered
	}
	return twinMoisture
}

// towardTheRoom tells whether the room's air explains a value: a probe near the
// top follows a frost or a hot day sooner than one deep down, but no further
// than the air itself has been within the last day.
func (d *Doubter) towardTheRoom(i int, v float64, at int64) bool {
	room, ok := d.room(i, at)
	if !ok {
		return false
	}
	day := d.tracks[d.contexts[i].room].Base
	low, high := min(room, day.V-2*day.Wander), max(room, day.V+2*day.Wander)
	was := d.tracks[i].Twin.Agreed
	return min(was, low) <= v && v <= max(was, high)
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
	if len(d.contexts[i].twins) == 0 {
		return
	}
	t := &d.tracks[i].Twin
	t.slow(v, at)
	d.learnClimb(i, at)
	if d.far(i, v, at) {
		if t.Far == 0 {
			t.Far = at
		}
	}
	switch apart := d.apart(i, v, at); {
	case apart && t.Apart == 0:
		t.Apart = at
		if jump := d.tracks[i].Jump; jump.N > 0 {
			t.Apart = jump.Begun
		}
	case apart && d.forgiven(i, v, t.Apart, at):
		d.restartTwins(i)
	case !apart:
		t.Apart = 0
		d.learnPairs(i, v, at, believed)
	}
}

// slow follows the probe's level over about half a day, and its swing around
// that.
func (t *twin) slow(v float64, at int64) {
	if t.SlowAt == 0 || at-t.SlowAt > 2*day {
		t.Slow = v
	}
	w := 1 - math.Exp(-hours(t.SlowAt, at)/12)
	t.Slow += w * (v - t.Slow)
	if t.SlowAt != 0 {
		t.Lag += w * (v - t.Slow - t.Lag)
		rest := v - t.Slow - t.Lag
		t.Swing += (1 - math.Exp(-min(hours(t.SlowAt, at), 6)/swingMemory.Hours())) * (rest*rest - t.Swing)
	}
	t.SlowAt = at
}

// learnPairs takes in the differences to the fresh twins.
func (d *Doubter) learnPairs(i int, v float64, at int64, believed bool) {
	if !believed {
		return
	}
	for _, j := range d.contexts[i].twins {
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
	if t.AgreedAt != 0 && at > t.AgreedAt {
		w := 1 - math.Exp(-min(hours(t.AgreedAt, at), 1)/usualMemory.Hours())
		t.Usual += w * (t.Swing - t.Usual)
	}
	t.Agreed, t.AgreedAt, t.AgreedSlow = v, at, t.Slow
	t.Far, t.Stepped = 0, false
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
		p.Usual, p.Lately, p.Spread, p.Seen = diff, diff, 0, max(dt, 1)
		return
	}
	p.Seen = min(p.Seen+dt, millis(twinMemory))
	w := float64(dt) / float64(p.Seen)
	p.Usual += w * (diff - p.Usual)
	p.Lately += max(w, 1-math.Exp(-float64(dt)/float64(millis(twinLately)))) * (diff - p.Lately)
	if agree {
		p.Spread += w * (math.Abs(diff-p.Lately) - p.Spread)
	}
}

// restartTwins forgets how a probe differs from its twins: it has honestly
// moved to a new level.
func (d *Doubter) restartTwins(i int) {
	t := &d.tracks[i].Twin
	t.Apart, t.Far, t.Stepped = 0, 0, false
	for _, j := range d.contexts[i].twins {
		p, _ := d.pairOf(i, j)
		*p = pair{a: p.a, b: p.b}
		d.tracks[j].Twin.Apart = 0
	}
}
