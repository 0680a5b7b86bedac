package trend

import (
	"math"
	"slices"
	"time"
)

// windowMax bounds a Window's memory. It holds every reading of a probe that
// speaks once in 45 s over 6 h, or in 4 s over 30 min.
const windowMax = 512

// A Window is a running median over the newest Span of time: the level of a
// zone. Of a probe so fast that Span holds more than 512 readings it keeps
// those at least Span/512 apart, so that the median still covers all of Span.
// Its memory is bounded and a steady stream allocates nothing. The zero
// Window holds nothing and drops what is added; make one with NewWindow.
type Window struct {
	Span time.Duration
	At   []int64 // ms since 1970, rising
	V    []float64

	sorted []float64 // V by size; rebuilt after loading
}

// NewWindow makes an empty window.
func NewWindow(span time.Duration) Window { return Window{Span: span} }

// Add takes in a value at a time and drops what is as old as t minus Span or
// older. A value that is late but still inside the span takes its place in
// time. NaN and infinite values are not taken.
func (w *Window) Add(t time.Time, v float64) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return
	}
	ms := t.UnixMilli()
	newest := ms
	if n := len(w.At); n > 0 {
		newest = max(newest, w.At[n-1])
	}
	oldest := newest - w.Span.Milliseconds() + 1
	late, _ := slices.BinarySearch(w.At, oldest)
	w.drop(late)
	if ms < oldest {
		return
	}
	if n := len(w.At); n >= windowMax {
		if ms-w.At[n-1] < w.Span.Milliseconds()/windowMax {
			return // too soon after the newest to be needed
		}
		w.drop(1)
	}
	i, _ := slices.BinarySearch(w.At, ms+1)
	w.At = slices.Insert(w.At, i, ms)
	w.V = slices.Insert(w.V, i, v)
	j, _ := slices.BinarySearch(w.bySize(len(w.V)-1), v)
	w.sorted = slices.Insert(w.sorted, j, v)
}

// drop forgets the n oldest values.
func (w *Window) drop(n int) {
	w.bySize(len(w.V))
	for _, v := range w.V[:n] {
		j, _ := slices.BinarySearch(w.sorted, v)
		w.sorted = slices.Delete(w.sorted, j, j+1)
	}
	w.At = slices.Delete(w.At, 0, n)
	w.V = slices.Delete(w.V, 0, n)
}

// bySize gives the values by size, rebuilt when a load left them out; n is how
// many there should be.
func (w *Window) bySize(n int) []float64 {
	if len(w.sorted) != n {
		w.sorted = append(w.sorted[:0], w.V...)
		slices.Sort(w.sorted)
	}
	return w.sorted
}

// Median is the middle of the values held, or the mean of the middle two; ok
// is false when there are none.
func (w *Window) Median() (m float64, ok bool) {
	if len(w.V) == 0 {
		return 0, false
	}
	return medianSorted(w.bySize(len(w.V))), true
}

// Len is how many values are held.
func (w *Window) Len() int { return len(w.V) }

// Newest is the time of the newest value; ok is false when there is none.
func (w *Window) Newest() (t time.Time, ok bool) {
	if len(w.At) == 0 {
		return time.Time{}, false
	}
	return time.UnixMilli(w.At[len(w.At)-1]).UTC(), true
}

// Cut drops what is later than t.
func (w *Window) Cut(t time.Time) {
	n, _ := slices.BinarySearch(w.At, t.UnixMilli()+1)
	w.At, w.V, w.sorted = w.At[:n], w.V[:n], w.sorted[:0]
}

// Clear forgets all values: the zone was opened and its curve starts afresh.
func (w *Window) Clear() { w.At, w.V, w.sorted = w.At[:0], w.V[:0], w.sorted[:0] }

const (
	// together is how long after its first message others still belong to the same
	// utterance: a device that wakes once an hour may say three numbers one after
	// another. It also thins what a fast probe says. Common practice, no source.
	together = 5000 // ms
	// paceKept is how many utterances are remembered: a probe whose pace was changed
	// is known by the new one after a few, and one outage among them is no pace.
	paceKept = 16
	// paceKnown is how many make a pace.
	paceKnown = 4
)

// A Pace is how often a probe speaks, learned from when it spoke. It has plain
// values for a snapshot; times are ms since 1970. The zero Pace knows nothing.
type Pace struct {
	Begun  int64 // first message of the utterance under way; 0: none
	Newest int64 // newest message
	Said   int   // messages of the utterance under way
	Ring   []Utterance
	Next   int // of Ring once it is full: the oldest

	Unsure   int   // messages since that have no true time
	UnsureAt int64 // when the first of them came

	Usual Usual // of Ring
}

// An Utterance is what was said at once, and how long it was to the next.
type Utterance struct {
	Gap  int64 // ms from its first message to that of the next
	Said int   // messages
}

// Usual is how a probe speaks, in ms.
type Usual struct {
	Gap     int64 // median between two utterances
	Long    int64 // three of four gaps are no longer
	Longest int64 // nine of ten gaps are no longer
	Each    int64 // median time a message, of several in an utterance
	Least   int64 // nine of ten utterances are no denser than one message in that time
	Most    int   // messages in the largest utterance
}

// Known tells whether enough has been heard to speak of a pace.
func (p *Pace) Known() bool { return len(p.Ring) >= paceKnown }

// Every is how often the probe speaks; 0 when it was heard once or never, and a
// guess until the pace is known. A probe that says several numbers at once speaks
// as often as it does so.
func (p *Pace) Every() time.Duration {
	switch {
	case len(p.Ring) == 0:
		return 0
	case p.Usual.Gap <= 2*together && p.Usual.Most > 1:
		return time.Duration(p.Usual.Each) * time.Millisecond
	}
	return time.Duration(p.Usual.Gap) * time.Millisecond
}

// Pause is how long the probe is quiet as a matter of course: as long as Every for
// one that speaks by the clock, longer for one that speaks when something has
// changed.
func (p *Pace) Pause() time.Duration {
	return max(p.Every(), time.Duration(p.Usual.Long)*time.Millisecond)
}

// Hear takes in a message of a true time. One message without a true time before
// it has turned out to be as true as any: what is poured out comes in greater
// numbers. What is older than the newest teaches nothing.
func (p *Pace) Hear(at int64) {
	switch {
	case p.Unsure == 1:
		p.hear(p.UnsureAt)
	case p.Unsure > 1:
		p.Begun = 0
	}
	p.Unsure = 0
	p.hear(at)
}

// Skip takes in that a message came at a time that says nothing of when it was
// sent.
func (p *Pace) Skip(at int64) {
	if p.Unsure++; p.Unsure == 1 {
		p.UnsureAt = at
	}
}

func (p *Pace) hear(at int64) {
	switch {
	case p.Begun == 0:
		p.Begun, p.Newest, p.Said = at, at, 1
		return
	case at < p.Newest:
		return
	case at-p.Begun <= together:
		p.Newest = at
		p.Said++
		return
	}
	u := Utterance{at - p.Begun, p.Said}
	if len(p.Ring) < paceKept {
		p.Ring = append(p.Ring, u)
	} else {
		p.Ring[p.Next] = u
		p.Next = (p.Next + 1) % paceKept
	}
	p.Usual = usual(p.Ring)
	p.Begun, p.Newest, p.Said = at, at, 1
}

// Shift moves what was heard at a moment or later, after a clock was put right.
func (p *Pace) Shift(ms, from int64) {
	for _, t := range []*int64{&p.Begun, &p.Newest, &p.UnsureAt} {
		if *t >= from && *t != 0 {
			*t += ms
		}
	}
}

func usual(ring []Utterance) (u Usual) {
	var gaps, messages [paceKept]int64
	n := len(ring)
	for i, r := range ring {
		gaps[i], messages[i] = r.Gap, r.Gap/int64(r.Said)
		u.Most = max(u.Most, r.Said)
	}
	slices.Sort(gaps[:n])
	slices.Sort(messages[:n])
	u.Gap = gaps[(n-1)/2]
	u.Long = gaps[n-1-(n-1)/4]
	u.Longest = gaps[n-1-(n-1)/10]
	u.Each = messages[(n-1)/2]
	u.Least = messages[(n-1)/10]
	return u
}
