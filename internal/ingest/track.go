package ingest

import (
	"encoding/json"
	"fmt"
	"hash/fnv"
	"math"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

const (
	// windowSize is how many believed values a jump is held against. Hampel's
	// filter is commonly run over 7 to 11; common practice, no source.
	windowSize = 9
	// windowGap is the least time between two of them, so that a probe that
	// speaks every second is held against minutes too.
	windowGap = 2 * 60_000
	// established is how many believed values make a level worth defending.
	established = 3
	// hampelFrom is how many values make their spread worth a judgement.
	hampelFrom = 7
	// lingers is how long the level before a step is still in reach.
	lingers = 6 * time.Hour
	// learnt is how many steps make the noise of a probe known.
	learnt = 12
)

// A track is what is known of one probe. It is saved as it is: plain values,
// times in ms since 1970, 0 for never.
type track struct {
	Last   int64   // time of the newest reading of any kind
	Heard  int64   // time of the newest reading that says something
	Gap    int64   // usual time between two of them, which may be longer than its `every`; 0 when not known
	V      float64 // newest value taken as the probe's level
	T      int64   // its time
	Good   float64 // newest believed value
	GoodAt int64   // its time

	N      int                 // values in the window
	Win    [windowSize]float64 // the last values of the level, oldest first
	WinAt  [windowSize]int64
	Left   float64 // the level it left for this one
	LeftAt int64   // when; 0 when there was none
	Noise  float64 // mean size of the step between two readings
	Steps  int     // how many steps it was learnt from, up to learnt times a few
	Step   float64 // smallest step ever seen: the probe's resolution; 0 when none was
	Jump   candidate
	Begun  int64 // time of the first value believed

	Still still
	Twin  twin
	Base  base // of a moisture

	Follow   float64 // part of the time in which it reads what the room does
	FollowAt int64

	Worked  int64 // when the keeper last did anything here
	Stirred int64 // when the keeper last fed, turned, watered or bedded here
	Handled int64 // when the keeper last moved what is around the probe
	Renewed int64 // when the keeper last emptied or filled it

	Prior *track `json:",omitempty"` // what was known before the first reading after a silence, until the next one
}

const (
	// priorAfter is how long a silence is before its end may turn out to be a
	// gateway's backlog, at most; ms.
	priorAfter = 3_600_000
	// saidAtOnce is how soon after the first other numbers of a device may come.
	saidAtOnce = 5000 // ms
)

// remember keeps what was known before the first reading after a silence: if what
// follows was poured out by a gateway, that one was too.
func (t *track) remember(at, every int64) {
	switch silent := at - t.Heard; {
	case t.Heard == 0 || silent <= saidAtOnce:
	case silent <= min(silences*every, priorAfter):
		t.Prior = nil
	default:
		t.Prior = nil
		prior := *t
		t.Prior = &prior
	}
}

// recant goes back to before the first reading after a silence.
func (t *track) recant() {
	if t.Prior != nil {
		*t = *t.Prior
	}
}

// follows tells whether a reading comes after all others of its probe and has
// a time worth the name.
func (t *track) follows(r farm.Reading) bool {
	return !r.Uncertain && (!r.Retained || r.Stamped) && r.At.UnixMilli() > t.Last
}

// longestGap bounds what is taken for a probe's pace.
const longestGap = int64(12 * time.Hour / time.Millisecond)

// hear takes in that the probe said something. One outage among the gaps is no
// pace.
func (t *track) hear(at int64) {
	switch gap := at - t.Heard; {
	case t.Heard == 0:
	case t.Gap == 0:
		t.Gap = min(gap, longestGap)
	default:
		t.Gap += (min(gap, 4*t.Gap, longestGap) - t.Gap) / 8
	}
	t.Heard = at
}

// every is how often a probe may be expected to speak, ms: as told, or as it was
// heard where that is more seldom.
func (t *track) every(p farm.Probe) int64 { return max(millis(p.Every), t.Gap, 60_000) }

// limits are how fast a quantity may honestly change, in its own unit.
type limits struct {
	reach, reachHour float64 // between two readings, and more for each hour between them
	fast, fastHour   float64 // past this no bin changes
	noisiest         float64 // most that a noisy probe may widen its own reach
}

// limitsOf gives the limits of a quantity. All are common practice, no source:
// wide enough for a bed behind glass on a spring morning (about 10 K an hour)
// and for the noise of a cheap moisture probe, narrow enough for the 5 to 10 K
// between a bin and the room a probe is laid down in. Air warms far faster
// than a bin when the sun comes out. A moisture can only fall that fast out of
// the bin; it rises as fast as water is poured.
func limitsOf(q farm.Quantity, air bool) limits {
	switch {
	case q == farm.Temperature && air:
		return limits{reach: 2, reachHour: 12, fast: 10, fastHour: 20, noisiest: 10}
	case q == farm.Temperature:
		return limits{reach: 1.5, reachHour: 3, fast: 4, fastHour: 6, noisiest: 8}
	}
	return limits{reach: 6, reachHour: 2, fast: 10, fastHour: 2, noisiest: 30}
}

// span is the range of the window and the newest level. For some hours after
// a step it reaches back to the level left: the peak of a watering drains away,
// a warmed spot cools again.
func (t *track) span(at int64) (lo, hi float64) {
	lo, hi = min(slices.Min(t.Win[:t.N]), t.V), max(slices.Max(t.Win[:t.N]), t.V)
	if t.LeftAt != 0 && at-t.LeftAt <= millis(lingers) {
		lo, hi = min(lo, t.Left), max(hi, t.Left)
	}
	return lo, hi
}

// widen is what the probe's own noise and resolution add to a limit: six mean
// steps are about five standard deviations of a step, two resolutions are one
// step and its return.
func (t *track) widen(l limits, limit float64) float64 {
	own := max(6*t.Noise, 2*t.Step)
	if t.Steps < learnt {
		own = max(own, 3*l.reach)
	}
	return max(limit, min(own, l.noisiest))
}

// push adds a value to the window.
func (t *track) push(v float64, at int64) {
	t.V, t.T = v, at
	if t.Begun == 0 {
		t.Begun = at
	}
	if t.N > 0 && at-t.WinAt[t.N-1] < windowGap {
		return
	}
	if t.N == windowSize {
		copy(t.Win[:], t.Win[1:])
		copy(t.WinAt[:], t.WinAt[1:])
		t.N--
	}
	t.Win[t.N], t.WinAt[t.N] = v, at
	t.N++
}

// restart forgets the window: the level begins anew.
func (t *track) restart() { t.N, t.Jump, t.LeftAt, t.Base = 0, candidate{}, 0, base{} }

// leave begins the level anew at a step that has lasted.
func (t *track) leave(at int64) {
	known := t.N >= established
	t.restart()
	if known {
		t.Left, t.LeftAt = t.V, at
	}
}

// learnStep takes in how far a probe moved between two readings. One wild step
// counts no more than three usual ones, so that a bad contact does not pass
// for noise.
func (t *track) learnStep(l limits, v float64) {
	step := math.Abs(v - t.V)
	if step > 1e-6 && (t.Step == 0 || step < t.Step) {
		t.Step = step
	}
	t.Steps = min(t.Steps+1, 8*learnt)
	if t.Steps > learnt {
		step = min(step, 3*max(t.Noise, t.Step))
	}
	t.Noise += (min(step, l.noisiest) - t.Noise) / float64(t.Steps)
}

// hampel tells whether a value is an outlier of the window: further from its
// median than three times its scaled median absolute deviation (Hampel 1974,
// J Am Stat Assoc 69:383–393, the influence curve; the cut at 3 is common
// practice). On flat data of a coarse probe the deviation is 0, so it is held
// up by the probe's resolution.
func (t *track) hampel(v float64) bool {
	var buf [windowSize]float64
	w := buf[:t.N]
	copy(w, t.Win[:t.N])
	m := median(w)
	for i := range w {
		w[i] = math.Abs(w[i] - m)
	}
	const toSigma = 1.482602218505602 // of a normal distribution
	return math.Abs(v-m) > 3*max(toSigma*median(w), t.Step)
}

// median sorts w.
func median(w []float64) float64 {
	slices.Sort(w)
	n := len(w)
	return (w[(n-1)/2] + w[n/2]) / 2
}

// snapshotVersion changes when a saved state no longer means the same.
const snapshotVersion = 2

// A snapshot is what Save writes: JSON, keyed by the probes' ids.
type snapshot struct {
	Version int                      `json:"version"`
	Tracks  map[string]trackSnapshot `json:"tracks"`
	Pairs   []pairSnapshot           `json:"pairs,omitempty"`
}

type trackSnapshot struct {
	Of uint64 `json:"of"` // print of the probe's configuration
	track
}

type pairSnapshot struct {
	A string `json:"a"`
	B string `json:"b"`
	pair
}

// Save writes what is known of the probes, the same bytes for the same state.
func (d *Doubter) Save() ([]byte, error) {
	s := snapshot{Version: snapshotVersion, Tracks: make(map[string]trackSnapshot, len(d.tracks))}
	for i, t := range d.tracks {
		s.Tracks[d.farm.Probes[i].ID] = trackSnapshot{fingerprint(d.farm.Probes[i]), t}
	}
	for _, p := range d.pairs {
		s.Pairs = append(s.Pairs, pairSnapshot{d.farm.Probes[p.a].ID, d.farm.Probes[p.b].ID, p})
	}
	b, err := json.Marshal(s)
	if err != nil {
		return nil, fmt.Errorf("save doubts: %w", err)
	}
	return b, nil
}

// Load replaces what is known by what Save wrote. Probes that are no longer
// there are dropped, and those that measure otherwise than they did begin
// anew. After an error nothing is known.
func (d *Doubter) Load(b []byte) error {
	clear(d.tracks)
	for k := range d.pairs {
		d.pairs[k] = pair{a: d.pairs[k].a, b: d.pairs[k].b}
	}
	var s snapshot
	if err := json.Unmarshal(b, &s); err != nil {
		return fmt.Errorf("load doubts: %w", err)
	}
	if s.Version != snapshotVersion {
		return fmt.Errorf("load doubts: version %d, not %d", s.Version, snapshotVersion)
	}
	for i, p := range d.farm.Probes {
		if t, ok := s.Tracks[p.ID]; ok && t.Of == fingerprint(p) && t.sound() {
			d.tracks[i] = t.track
		}
	}
	for _, p := range s.Pairs {
		d.loadPair(p)
	}
	return nil
}

// loadPair takes in a pair of twins that are twins still and both known.
func (d *Doubter) loadPair(s pairSnapshot) {
	a, okA := d.index[s.A]
	b, okB := d.index[s.B]
	if !okA || !okB || d.tracks[a].Last == 0 || d.tracks[b].Last == 0 {
		return
	}
	for k := range d.pairs {
		if p := &d.pairs[k]; p.a == a && p.b == b {
			s.pair.a, s.pair.b = a, b
			if *p = s.pair; p.Lately == 0 { // saved before that was kept
				p.Lately = p.Usual
			}
		}
	}
}

// sound tells whether a saved track can be worked with.
func (t *track) sound() bool {
	return t.N >= 0 && t.N <= windowSize && t.Last >= 0 && (t.Prior == nil || t.Prior.Prior == nil && t.Prior.sound())
}

// fingerprint stands for what a probe's numbers mean. When it changes, the
// past says nothing of the future.
func fingerprint(p farm.Probe) uint64 {
	h := fnv.New64a()
	fmt.Fprintf(h, "%q %q %s %s", p.Topic, p.Value, p.Measures, p.Unit)
	for _, c := range p.Calibration {
		fmt.Fprintf(h, " %x %x", math.Float64bits(c.Raw), math.Float64bits(c.Value))
	}
	return h.Sum64()
}

// Shift moves the times that are known from a moment on, after the clock was put
// right: what was heard on the wrong clock was heard as long ago as it was.
func (d *Doubter) Shift(by time.Duration, from time.Time) {
	ms, begin := by.Milliseconds(), from.UnixMilli()
	move := func(times ...*int64) {
		for _, t := range times {
			if *t != 0 && *t >= begin {
				*t += ms
			}
		}
	}
	var tracks []*track
	for i := range d.tracks {
		tracks = append(tracks, &d.tracks[i])
		if prior := d.tracks[i].Prior; prior != nil {
			tracks = append(tracks, prior)
		}
	}
	for _, t := range tracks {
		move(&t.Last, &t.Heard, &t.T, &t.GoodAt, &t.LeftAt, &t.Begun, &t.FollowAt, &t.Worked, &t.Stirred, &t.Handled, &t.Renewed)
		move(&t.Jump.From, &t.Jump.Begun, &t.Jump.Since)
		move(&t.Still.From, &t.Still.To, &t.Still.Day)
		move(&t.Twin.SlowAt, &t.Twin.AgreedAt, &t.Twin.Apart, &t.Twin.Far, &t.Twin.Climbed)
		move(&t.Base.From, &t.Base.At)
		for k := range t.Twin.Marks {
			move(&t.Twin.Marks[k].At)
		}
		for k := range t.N {
			move(&t.WinAt[k])
		}
	}
	for k := range d.pairs {
		move(&d.pairs[k].At)
	}
}
