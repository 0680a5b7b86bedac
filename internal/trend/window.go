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
	w.trim(newest)
	if ms <= newest-w.Span.Milliseconds() || !w.makeRoom(ms) {
		return
	}
	i, _ := slices.BinarySearch(w.At, ms+1)
	w.At = slices.Insert(w.At, i, ms)
	w.V = slices.Insert(w.V, i, v)
	j, _ := slices.BinarySearch(w.bySize(len(w.V)-1), v)
	w.sorted = slices.Insert(w.sorted, j, v)
}

// makeRoom drops the oldest value of a full window, or tells that a value at
// ms comes too soon after the newest to be needed.
func (w *Window) makeRoom(ms int64) bool {
	n := len(w.At)
	if n < windowMax {
		return true
	}
	if ms-w.At[n-1] < w.Span.Milliseconds()/windowMax {
		return false
	}
	w.drop(1)
	return true
}

// Trim drops what is as old as now minus Span or older: for a level that is
// asked for when nothing new has come.
func (w *Window) Trim(now time.Time) { w.trim(now.UnixMilli()) }

func (w *Window) trim(nowMS int64) {
	n, _ := slices.BinarySearch(w.At, nowMS-w.Span.Milliseconds()+1)
	w.drop(n)
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

// medianSorted is the median of values already sorted; there is at least one.
func medianSorted(s []float64) float64 {
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}
