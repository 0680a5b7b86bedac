package ingest

import (
	"iter"
	"math"
	"slices"
	"time"
)

// A twin is another probe of the same quantity in a probe's zone.
type twin struct {
	other *probe
	pair  *pair
	sign  float64 // +1 where the pair's difference is ours less the other's, else -1
}

// A pair keeps how two probes of one zone usually differ: one may lie deeper,
// or swing more through the day.
type pair struct {
	a, b *probe // a comes first in the farm
	difference
}

// A difference is of a's value less b's.
type difference struct {
	Usual  float64 // mean
	Lately float64 // the same over a few days
	Lag    float64 // mean distance of the difference from that: what a steady drift makes of it
	Spread float64 // mean size of the rest
	Seen   int64   // time over which that was learnt, ms
	At     int64   // when it was learnt last

	Beside [2]beside // as it was when a spoke, and when b did
}

// A beside keeps how far a probe was above its twin when it last spoke and was taken
// for right, to know a leap when there is one.
type beside struct {
	Above  float64
	At     int64   // 0 for never
	Rose   float64 // by how much, from the one before
	Wavers float64 // mean size of that
	Steps  int     // how many that was learnt from, up to learnt times a few
}

// A departure keeps how a probe stands to its twins, and whether it left them.
type departure struct {
	Slow       float64 // mean over about half a day of the probe's level
	SlowAt     int64
	Agreed     float64 // value when it last agreed with a twin
	AgreedAt   int64
	AgreedSlow float64 // Slow at that time
	Apart      int64   // since when it has moved away from all its twins; 0 when it has not

	Lag       float64 // mean distance from Slow: what a steady rise makes of it
	Swing     float64 // mean square of the rest, over about a day: how much of the day it has
	Usual     float64 // the same while it agreed with a twin
	Far       int64   // since when it has been unusually far from its twins, for whatever reason; 0 when it is not
	Stepped   bool    // a step that no work explains took it away
	SteppedAt int64   // when one last did
	BesideAt  int64   // when it was last noted how far above its twins it is

	Marks   [twinMarks]mark // of the last four days, newest last
	Climbed int64           // when it last climbed over a twin as feed heats; 0 for never
	Top     float64         // how far it was above that twin then
	Wavers  float64         // mean size of what it climbs in two days, up or down
	Creeps  bool            // it has come up above that twin for four days, as steadily as no feed makes it
}

// A mark is how far a probe's slow level was above that of its coolest twin.
type mark struct {
	Above float64
	At    int64 // 0 when there is none
}

// pairUp makes two probes twins, for one of them.
func (d *Doubter) pairUp(p, o *probe) twin {
	a, b, sign := p, o, 1.0
	if slices.Index(d.probes, o) < slices.Index(d.probes, p) {
		a, b, sign = o, p, -1
	}
	i := slices.IndexFunc(d.pairs, func(q *pair) bool { return q.a == a && q.b == b })
	if i < 0 {
		i = len(d.pairs)
		d.pairs = append(d.pairs, &pair{a: a, b: b})
	}
	return twin{o, d.pairs[i], sign}
}

// hasTwin tells whether another probe is among a probe's twins.
func (p *probe) hasTwin(o *probe) bool {
	return slices.ContainsFunc(p.twins, func(t twin) bool { return t.other == o })
}

// freshTwins gives the twins that have been believed lately, with their values.
func (p *probe) freshTwins(at int64) iter.Seq2[twin, float64] {
	return func(yield func(twin, float64) bool) {
		for _, t := range p.twins {
			if v, ok := t.other.fresh(at); ok && !yield(t, v) {
				return
			}
		}
	}
}

// beside is what this twin keeps for the probe itself.
func (t twin) beside() *beside {
	if t.sign < 0 {
		return &t.pair.Beside[1]
	}
	return &t.pair.Beside[0]
}

// above is how far a value lies above the other's, beyond the usual difference.
func (t twin) above(v, other float64) float64 { return v - other - t.sign*t.pair.Usual }

// spread is what the usual wavering of the difference adds to a tolerance.
func (t twin) spread() float64 { return twinSpreads * t.pair.Spread }

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
	twinClimbs   = 3.6                 // K over its twin within two days: feed that heats a spot far does so once, a drift doesn't
	twinBends    = 2.0                 // and so many times the climb of the two days before, for a drift goes on and on
	twinCreeps   = 6.0                 // K further than it climbed: then it drifts
	twinCrept    = 3.0                 // K within four days, the last two about like the first: so creeps a drift
	twinQuicker  = 2.5                 // K further above its twin than its slow level is: now it rises faster
	twinSteady   = 1.4                 // times as much at most: a heap that grows, grows faster
	twinSure     = 2.5                 // and so many times what it usually climbs or falls
	twinSupposed = 0.6                 // K, while that is not known
	twinRises    = 4.0                 // or so many K: no drift goes so fast
	twinShows    = 24 * time.Hour      // within which a climb shows
	twinMarks    = 9
	twinSettles  = 36 * time.Hour // after which a step no longer moves the slow level
	twinMarkGap  = 12 * time.Hour
	twinFeeds    = 7 * 24 * time.Hour // how long a feed may warm one spot, or water wet it
	twinQuick    = 3 * time.Hour      // agreement this recent can be compared directly
	twinSpreads  = 3.3                // beyond so many mean distances from the usual difference

	twinTemperature = 5.0  // K
	twinCreeping    = 3.5  // K, of one that creeps up
	twinLarge       = 8.0  // K: never usual by lasting
	twinWeather     = 12.0 // K, toward the room's air
	twinMoisture    = 15.0 // points of %
	twinWatered     = 40.0 // points of %
	twinOther       = 1.5  // times what is too fast, of any other quantity

	swingMemory  = 24 * time.Hour
	usualMemory  = 5 * 24 * time.Hour
	swingShared  = 0.05      // of its usual mean square: it misses the day
	swingHalf    = 0.5       // of a twin's: the twin has it
	swingMatters = 0.2 * 0.2 // K²: below that there is no day to miss
)

// apartLong tells whether a value has moved away from every twin, for a while.
func (p *probe) apartLong(v float64, at int64) bool {
	since := p.Twin.Apart
	if since == 0 && p.Jump.N > 0 && !p.worked(at) && (v < p.V || p.temperature()) {
		since = p.Jump.Begun // it has stepped apart
	}
	if since == 0 || !p.apart(v, at) {
		return false
	}
	return at-since >= millis(twinLasts) && !p.forgiven(v, since, at)
}

// forgiven tells whether a difference has lasted so long that it is taken for
// usual, or the keeper has handled the bin since. A large one is never usual by
// lasting, nor is heat: it would judge the bin.
func (p *probe) forgiven(v float64, since, at int64) bool {
	hot := p.temperature() && v > p.Twin.Agreed
	lasting := at-since >= millis(twinForgives) && math.Abs(v-p.Twin.Agreed) <= p.large() && !hot
	return lasting || p.Handled > since+workedBefore
}

// apart tells whether a value is unusually far from that of every fresh twin,
// and it is this probe that moved. Where both moved, neither is accused. A
// probe that has been apart for a while must come halfway back. One that is hot
// where feed may heat is not accused for that.
func (p *probe) apart(v float64, at int64) bool {
	if p.Jump.Leap != 0 && p.climbsOn(p.candidate(v, at), at) || p.Twin.Creeps && p.quicker(v, at) {
		return false // it rises as a heap does
	}
	mine, part, any := p.moved(v, at), 1.0, false
	warm := millis(twinWarm)
	if p.stepped() {
		warm = millis(twinStepWarm)
	}
	if since := p.Twin.Apart; since != 0 && at-since >= millis(twinLasts) {
		part = 0.5
	}
	tolerance, stepped, drifts := p.tolerance(v, at), p.stepped() && p.temperature(), p.drifts(at)
	for t, other := range p.freshTwins(at) {
		above := t.above(v, other)
		spread, sure := t.spread(), 1.5
		switch up := above > 0 && v > p.Twin.Agreed; {
		case up && stepped: // it is seen through any wavering, and whose it was
			spread, sure = 0, 0
		case up && drifts:
			sure = 1
		}
		switch {
		case t.pair.Seen < warm, math.Abs(above) <= part*(tolerance+spread),
			above > 0 && p.heats(at), above < 0 && p.living && p.towardTheRoom(v, at),
			mine <= sure*t.other.moved(other, at)+0.1*tolerance:
			return false
		}
		any = true
	}
	return any
}

// heats tells whether a probe that is above its twin may well be hot where feed
// heats: in a living zone, risen above it as heat rises and not crept on far since,
// without a step, and still sharing the day with it and moving at all.
func (p *probe) heats(at int64) bool {
	t, c := &p.Twin, p.Jump
	if !p.temperature() || !p.living || t.Stepped || c.N > 0 && c.Far > 0 {
		return false
	}
	return !p.drifts(at) && !p.missesTheDay(at) && !p.stuck(at)
}

// drifts tells whether a probe is far from its twins without a climb as feed makes it,
// for a day, which it takes to show, or crept there; or has crept on far since.
func (p *probe) drifts(at int64) bool {
	t := &p.Twin
	neverClimbed := t.Climbed == 0 || t.Climbed < t.AgreedAt-millis(twinForgives)
	if t.Far == 0 || at-t.Far <= millis(twinShows) && !t.Creeps {
		return false
	}
	return neverClimbed || at-t.Far > millis(twinShows) && t.Marks[twinMarks-2].Above > t.Top+twinCreeps
}

// quicker tells whether a probe that crept up above its twins has begun to climb.
func (p *probe) quicker(v float64, at int64) bool {
	for t, other := range p.freshTwins(at) {
		if t.above(v, other) > t.above(p.Twin.Slow, t.other.Twin.Slow)+twinQuicker {
			return true
		}
	}
	return false
}

// learnClimb notes how far a probe climbs over its coolest twin, and whether as feed
// makes it or as a drift does.
func (p *probe) learnClimb(at int64) {
	t := &p.Twin
	if last := t.Marks[twinMarks-1]; last.At != 0 && at-last.At < millis(twinMarkGap)-p.every()/2 {
		return
	}
	above, known := math.Inf(-1), false
	for o := range p.freshTwins(at) {
		above, known = max(above, t.Slow-o.other.Twin.Slow), true
	}
	if !known {
		return
	}
	copy(t.Marks[:], t.Marks[1:])
	t.Marks[twinMarks-1] = mark{above, at}
	rises := twinRises
	if t.Apart != 0 {
		rises += twinClimbs / 2 // what drifts must do more to be believed
	}
	climbed, before := t.climbs()
	bends := climbed >= twinClimbs+p.Step/2 && climbed >= twinBends*before // a coarse probe pretends half a step
	if climbed >= rises || t.Apart == 0 && bends {
		t.Climbed, t.Top = at, above
	}
	least, most := min(climbed, before), max(climbed, before)
	t.Creeps = least >= max(twinCrept/3, twinSure*t.Wavers) && climbed+before >= twinCrept && most < min(twinSteady*least, twinRises)
	if t.Marks[0].At == 0 {
		t.Wavers = twinSupposed
	}
	t.Wavers += (math.Abs(before) - t.Wavers) * float64(twinMarkGap) / float64(twinForgives)
}

// climbs gives how far a probe has climbed over its twin within the last two days,
// and within the two before; a step is no climb.
func (t *departure) climbs() (last, before float64) {
	from := make([]mark, 0, twinMarks)
	for _, m := range t.Marks {
		if m.At != 0 && m.At > t.SteppedAt+millis(twinSettles) {
			from = append(from, m)
		}
	}
	if len(from) == 0 {
		return 0, 0
	}
	middle := from[max(len(from)-1-twinMarks/2, 0)].Above
	return from[len(from)-1].Above - middle, middle - from[0].Above
}

// stuck tells whether a probe repeats one number for far longer than it ever did.
func (p *probe) stuck(at int64) bool {
	s := &p.Still
	return s.Changes >= enoughChanges && s.lasts(at, frozenAfter, frozenAloneTime)
}

// stepped tells whether a step took a probe away from its twins, or is about to.
func (t *track) stepped() bool { return t.Twin.Stepped || t.Jump.N > 0 }

// missesTheDay tells whether a probe no longer swings with the day as it did,
// though a twin does.
func (p *probe) missesTheDay(at int64) bool {
	t := &p.Twin
	if t.Usual < swingMatters || t.Swing > swingShared*t.Usual {
		return false
	}
	for o := range p.freshTwins(at) {
		if other := &o.other.Twin; other.Usual >= swingMatters && other.Swing > swingHalf*other.Usual {
			return true
		}
	}
	return false
}

// far tells whether a value is unusually far from that of every fresh twin,
// whoever moved.
func (p *probe) far(v float64, at int64) bool {
	any, tolerance := false, p.tolerance(v, at)
	for t, other := range p.freshTwins(at) {
		if math.Abs(t.above(v, other)) <= tolerance+t.spread() {
			return false
		}
		any = true
	}
	return any
}

// moved is how far a probe is from where it was when it last agreed with a
// twin. If that was long ago the day's swing has gone over it, and slow means
// are compared instead.
func (p *probe) moved(v float64, at int64) float64 {
	t := &p.Twin
	if at-t.AgreedAt <= millis(twinQuick) || p.Jump.N > 0 {
		return math.Abs(v - t.Agreed)
	}
	return math.Abs(t.Slow - t.AgreedSlow)
}

// tolerance is how far a probe may honestly move from its twins.
func (p *probe) tolerance(v float64, at int64) float64 {
	stirred := p.Stirred != 0 && at-p.Stirred <= millis(twinFeeds)
	switch {
	case p.temperature() && p.towardTheRoom(v, at):
		return twinWeather
	case p.temperature() && p.Twin.Creeps && v > p.Twin.Agreed:
		return twinCreeping
	case p.temperature():
		return twinTemperature
	case p.moisture() && v > p.Twin.Agreed && stirred:
		return twinWatered
	case p.moisture():
		return twinMoisture
	}
	return twinOther * p.row.Rate.Fast
}

// large is a difference that is never usual by lasting.
func (p *probe) large() float64 {
	switch {
	case p.temperature():
		return twinLarge
	case p.moisture():
		return twinWatered
	}
	return 2 * twinOther * p.row.Rate.Fast
}

// towardTheRoom tells whether the room's air explains a value: a probe near the
// top follows a frost or a hot day sooner than one deep down, but no further
// than the air itself has been within the last day.
func (p *probe) towardTheRoom(v float64, at int64) bool {
	room, ok := p.roomAir(at)
	if !ok {
		return false
	}
	day := p.room.Base
	low, high := min(room, day.V-2*day.Wander), max(room, day.V+2*day.Wander)
	was := p.Twin.Agreed
	return min(was, low) <= v && v <= max(was, high)
}

// learnTwins takes in how a probe stands to its twins. While it is apart it
// teaches nothing, until its difference has lasted so long that it is taken
// for usual.
func (p *probe) learnTwins(v float64, at int64, believed bool) {
	if len(p.twins) == 0 {
		return
	}
	t := &p.Twin
	t.slow(v, at)
	p.learnClimb(at)
	t.Creeps = t.Creeps && !p.quicker(v, at)
	if t.Far == 0 && p.far(v, at) {
		t.Far = at
	}
	switch apart := p.apart(v, at); {
	case apart && t.Apart == 0:
		t.Apart = at
		if jump := p.Jump; jump.N > 0 {
			t.Apart = jump.Begun
		}
	case apart && p.forgiven(v, t.Apart, at):
		p.restartTwins()
	case !apart:
		t.Apart = 0
		p.learnPairs(v, at, believed)
	}
}

// slow follows the probe's level over about half a day, and its swing around
// that.
func (t *departure) slow(v float64, at int64) {
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
func (p *probe) learnPairs(v float64, at int64, believed bool) {
	if !believed {
		return
	}
	for t, other := range p.freshTwins(at) {
		agree := t.pair.Seen == 0 || math.Abs(t.above(v, other)) <= (p.tolerance(v, at)+t.spread())/2
		t.pair.learn(t.sign*(v-other), at, agree)
		if agree {
			near := math.Abs(t.above(p.Twin.Slow, t.other.Twin.Slow)) <= (p.tolerance(v, at)+t.spread())/2
			p.agree(v, at, near)
			t.other.agree(other, at, near)
		}
	}
}

// agree notes where a probe is while it agrees with a twin; near tells that its level
// does too, not just a reading as it swings by.
func (p *probe) agree(v float64, at int64, near bool) {
	t := &p.Twin
	if t.AgreedAt != 0 && at > t.AgreedAt {
		w := 1 - math.Exp(-min(hours(t.AgreedAt, at), 1)/usualMemory.Hours())
		t.Usual += w * (t.Swing - t.Usual)
	}
	t.Agreed, t.AgreedAt, t.AgreedSlow = v, at, t.Slow
	t.Far, t.Stepped = 0, t.Stepped && !near
}

// learn takes in one difference, weighed by the time it stood for. One that is
// halfway to being unusual counts little, so that a fault that grows slowly is
// not taken for usual on its way.
func (p *difference) learn(diff float64, at int64, agree bool) {
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
	lately := max(w, 1-math.Exp(-float64(dt)/float64(millis(twinLately))))
	p.Lately += lately * (diff - p.Lately)
	p.Lag += lately * (diff - p.Lately - p.Lag)
	if agree {
		p.Spread += w * (math.Abs(diff-p.Lately-p.Lag) - p.Spread)
	}
}

// restartTwins forgets how a probe differs from its twins: it has honestly
// moved to a new level.
func (p *probe) restartTwins() {
	t := &p.Twin
	t.Apart, t.Far, t.Stepped = 0, 0, false
	for _, o := range p.twins {
		o.pair.difference = difference{}
		o.other.Twin.Apart = 0
	}
}
