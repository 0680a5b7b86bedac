package ingest

import (
	"encoding/json"
	"fmt"
	"hash/fnv"
	"math"
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/trend"
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

	Still  standstill
	Rough  roughness
	Flood  flooding
	Marks  marks
	Slowly slowly
	Twin   departure
	Base   base // slow level, of which a moisture falls by no more than a bin dries

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
	silent := at - t.Heard
	if t.Heard == 0 || silent <= saidAtOnce {
		return
	}
	t.Prior = nil
	if silent > min(silences*every, priorAfter) {
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
func (p *probe) every() int64 { return max(millis(p.Every), p.Gap, 60_000) }

// fresh gives the last believed value when it is not too old at a time.
func (p *probe) fresh(at int64) (float64, bool) {
	if p == nil || p.GoodAt == 0 {
		return 0, false
	}
	return p.Good, max(at-p.GoodAt, p.GoodAt-at) <= 3*p.every()
}

// known is for how long the probe had a level, ms.
func (t *track) known() int64 { return t.T - t.Begun }

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

// widen gives a limit with what the probe's own noise and resolution add to it:
// six mean steps are about five standard deviations of a step, two resolutions
// are one step and its return.
func (p *probe) widen(limit float64) float64 {
	own := max(6*p.Noise, 2*p.Step)
	if p.Steps < learnt {
		own = max(own, 3*p.rate.Reach)
	}
	return max(limit, min(own, p.rate.Noisiest))
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

// learnStep takes in how far a probe moved between two readings. One wild step
// counts no more than three usual ones, so that a bad contact does not pass
// for noise.
func (p *probe) learnStep(v float64) {
	step := math.Abs(v - p.V)
	if step > 1e-6 && (p.Step == 0 || step < p.Step) {
		p.Step = step
	}
	p.Steps = min(p.Steps+1, 8*learnt)
	if p.Steps > learnt {
		step = min(step, 3*max(p.Noise, p.Step))
	}
	p.Noise += (min(step, p.rate.Noisiest) - p.Noise) / float64(p.Steps)
}

// outlier tells whether a value is one of the window: further from its median
// than three times its scaled median absolute deviation (Hampel 1974, J Am Stat
// Assoc 69:383–393, the influence curve; the cut at 3 is common practice). On
// flat data of a coarse probe the deviation is 0, so it is held up by the probe's
// resolution.
func (t *track) outlier(v float64) bool {
	w := t.Win[:t.N]
	return math.Abs(v-trend.Median(w)) > 3*max(trend.MAD(w), t.Step)
}

// snapshotVersion changes when a snapshot no longer means the same.
const snapshotVersion = 2

// A snapshot is what Save writes: JSON, keyed by the probes' ids.
type snapshot struct {
	Version int                      `json:"version"`
	Tracks  map[string]trackSnapshot `json:"tracks"`
	Pairs   []pairSnapshot           `json:"pairs,omitempty"`
}

type trackSnapshot struct {
	Of uint64      `json:"of"`           // print of the probe's configuration
	In *farm.Place `json:"in,omitempty"` // the zone that it stood in; nil: not known
	track
}

type pairSnapshot struct {
	A string `json:"a"`
	B string `json:"b"`
	difference
}

// Save writes what is known of the probes, the same bytes for the same state.
func (d *Doubter) Save() ([]byte, error) {
	s := snapshot{Version: snapshotVersion, Tracks: make(map[string]trackSnapshot, len(d.probes))}
	for _, p := range d.probes {
		s.Tracks[p.ID] = trackSnapshot{fingerprint(p.Probe), &farm.Place{Bin: p.bin, Zone: p.zone}, p.track}
	}
	for _, p := range d.pairs {
		s.Pairs = append(s.Pairs, pairSnapshot{p.a.ID, p.b.ID, p.difference})
	}
	b, err := json.Marshal(s)
	if err != nil {
		return nil, fmt.Errorf("save doubts: %w", err)
	}
	return b, nil
}

// Load replaces what is known by what Save wrote, in which names are those of its time.
// Probes that are no longer there are dropped, and those that measure otherwise than
// they did, or stand elsewhere, begin anew. After an error nothing is known.
func (d *Doubter) Load(b []byte, since farm.Renames) error {
	for _, p := range d.probes {
		p.track = track{}
	}
	for _, p := range d.pairs {
		p.difference = difference{}
	}
	var s snapshot
	if err := json.Unmarshal(b, &s); err != nil {
		return fmt.Errorf("load doubts: %w", err)
	}
	if s.Version != snapshotVersion {
		return fmt.Errorf("load doubts: version %d, not %d", s.Version, snapshotVersion)
	}
	for id, t := range s.Tracks {
		p := d.byID[since.Probe(id)]
		if p != nil && t.Of == fingerprint(p.Probe) && (t.In == nil || since.Place(*t.In) == farm.Place{Bin: p.bin, Zone: p.zone}) && t.sound() {
			p.track = t.track
		}
	}
	for _, saved := range s.Pairs {
		saved.A, saved.B = since.Probe(saved.A), since.Probe(saved.B)
		for _, p := range d.pairs { // of probes that are twins still, and both known
			if p.a.ID == saved.A && p.b.ID == saved.B && p.a.Last != 0 && p.b.Last != 0 {
				p.difference = saved.difference
				if p.Lately == 0 { // saved before that was kept
					p.Lately = p.Usual
				}
			}
		}
	}
	return nil
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
	for _, p := range d.probes {
		for t := &p.track; t != nil; t = t.Prior {
			shift(ms, begin, t.times()...)
		}
	}
	for _, p := range d.pairs {
		shift(ms, begin, &p.At, &p.Beside[0].At, &p.Beside[1].At)
	}
}

// times lists every moment that a track holds.
func (t *track) times() []*int64 {
	all := []*int64{
		&t.Last, &t.Heard, &t.T, &t.GoodAt, &t.LeftAt, &t.Begun, &t.FollowAt, &t.Worked, &t.Stirred, &t.Handled, &t.Renewed,
		&t.Jump.From, &t.Jump.Begun, &t.Jump.Since, &t.Still.From, &t.Still.To, &t.Still.Day, &t.Still.Flicker.FarAt, &t.Still.Flicker.TurnAt,
		&t.Flood.From, &t.Flood.Over, &t.Flood.Wet, &t.Marks.At, &t.Marks.From, &t.Slowly.At, &t.Slowly.Past,
		&t.Base.From, &t.Base.At, &t.Rough.FirstAt, &t.Rough.SecondAt, &t.Rough.From,
		&t.Twin.SlowAt, &t.Twin.AgreedAt, &t.Twin.Apart, &t.Twin.Far, &t.Twin.Climbed, &t.Twin.SteppedAt, &t.Twin.BesideAt,
	}
	for k := range t.Twin.Marks {
		all = append(all, &t.Twin.Marks[k].At)
	}
	for k := range t.N {
		all = append(all, &t.WinAt[k])
	}
	return all
}

// shift moves those of some times that are not before a moment; all in ms.
func shift(ms, from int64, times ...*int64) {
	for _, t := range times {
		if *t != 0 && *t >= from {
			*t += ms
		}
	}
}
