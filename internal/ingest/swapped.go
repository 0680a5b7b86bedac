package ingest

import (
	"math"
	"time"
)

// Two probes that a keeper has put back into each other's place: on one day each goes
// to where the other was, and stays there. Bins that cross each other by weather and
// feed do so slowly, or are back a day later.
//
// A probe's marks are the means of every three hours, of two days and a half: what was
// before, two marks in which it may happen, and the day since.
type marks struct {
	V    [swapMarks]float64 // newest last
	Has  [swapMarks]bool
	At   int64 // when the one at hand began; 0 for none
	Sum  float64
	N    int
	With string  // id of the probe with which it has changed places: it is doubted
	Off  float64 // how far it was above that one before
	From int64   // since when it is doubted
}

// Common practice, no source.
const (
	swapMark   = 3 * time.Hour
	swapDay    = 8 // marks
	swapMoves  = 2 // marks, at most, in which it happens
	swapMarks  = 2*swapDay + swapMoves
	swapLeastC = 2.0 // K
	swapLeastM = 7.0 // points
	swapLeast  = 2.5 // times the usual change of the difference from mark to mark
	swapNear   = 0.3 // of the difference: so near is each to where the other was
	swapShare  = 0.5 // of it that each has moved by, at least
)

// swaps tells whether a probe's places can be told apart at all.
func (p *probe) swaps() bool { return p.temperature() || p.moisture() }

// learnMarks takes in a number, believed or not: one that has changed places is at first
// doubted for having moved so far.
func (p *probe) learnMarks(v float64, at int64) {
	m := &p.Marks
	begins := at - at%millis(swapMark)
	if m.At != 0 && begins > m.At {
		for next := m.At; next < begins && next <= m.At+swapMarks*millis(swapMark); next += millis(swapMark) {
			copy(m.V[:], m.V[1:])
			copy(m.Has[:], m.Has[1:])
			m.V[swapMarks-1], m.Has[swapMarks-1] = m.Sum/max(1, float64(m.N)), next == m.At && m.N > 0
		}
	}
	if begins != m.At {
		m.At, m.Sum, m.N = begins, 0, 0
		p.judgeSwap(at)
	}
	m.Sum, m.N = m.Sum+v, m.N+1
}

// judgeSwap looks for the probe with which this one has changed places.
func (p *probe) judgeSwap(at int64) {
	m := &p.Marks
	if m.With != "" {
		if o := p.swapped(); o == nil || p.flipped(o, -m.Off, true) || max(p.Handled, o.Handled) > m.From+workedBefore {
			p.settleSwap(o)
		}
		return
	}
	for _, o := range p.alike {
		if !p.couldChange(o) || o.Marks.At != m.At || o.Marks.With != "" {
			continue
		}
		if off, ok := p.exchanged(o); ok && max(p.Renewed, o.Renewed) < at-swapMarks*millis(swapMark) {
			m.With, m.Off, m.From = o.ID, off, at
			o.Marks.With, o.Marks.Off, o.Marks.From = p.ID, -off, at
			return
		}
	}
}

// swapped is the probe with which this one has changed places; nil for none.
func (p *probe) swapped() *probe {
	if p.Marks.With == "" {
		return nil
	}
	for _, o := range p.alike {
		if o.ID == p.Marks.With && o.Marks.With == p.ID && p.couldChange(o) {
			return o
		}
	}
	return nil
}

// settleSwap ends the doubt of both: their past is of another place.
func (p *probe) settleSwap(o *probe) {
	for _, q := range []*probe{p, o} {
		if q != nil {
			q.Marks = marks{At: q.Marks.At}
			q.restart()
			q.restartTwins()
		}
	}
}

// exchanged tells whether two probes have changed places a day ago, and how far the
// first was above the other before.
func (p *probe) exchanged(o *probe) (off float64, ok bool) {
	before, wavers, n := p.apartBy(o, 0, swapDay)
	since, _, k := p.apartBy(o, swapDay+swapMoves, swapMarks)
	if n < swapDay*3/4 || k < swapDay*3/4 {
		return 0, false
	}
	least := swapLeastC
	if p.moisture() {
		least = swapLeastM
	}
	size := math.Abs(before)
	if size < max(least, swapLeast*wavers) || math.Abs(since+before) > swapNear*size {
		return 0, false
	}
	return before, p.flipped(o, before, false) && !p.climbs(size) && !o.climbs(size)
}

// climbs tells whether a probe has gone on rising through the day since: another place
// is as warm in the evening as in the morning, a feed that heats is not.
func (p *probe) climbs(size float64) bool {
	const since, noon = swapDay + swapMoves, swapMarks - swapDay/2
	return p.temperature() && p.Marks.mean(noon, swapMarks)-p.Marks.mean(since, noon) > swapNear*size
}

// mean is that of some marks; 0 where there are none.
func (m *marks) mean(from, to int) float64 {
	sum, n := 0.0, 0.0
	for k := from; k < to; k++ {
		if m.Has[k] {
			sum, n = sum+m.V[k], n+1
		}
	}
	return sum / max(1, n)
}

// apartBy is how far one probe is above another over some marks, and by how much
// that changes from one to the next.
func (p *probe) apartBy(o *probe, from, to int) (mean, wavers float64, n int) {
	last := math.NaN()
	for k := from; k < to; k++ {
		if !p.Marks.Has[k] || !o.Marks.Has[k] {
			continue
		}
		off := p.Marks.V[k] - o.Marks.V[k]
		if mean, n = mean+off, n+1; !math.IsNaN(last) {
			wavers += math.Abs(off - last)
		}
		last = off
	}
	return mean / max(1, float64(n)), wavers / max(1, float64(n-1)), n
}

// flipped tells whether each of two probes that were so far apart has gone over to the
// other's side, within the marks in which they may have: of a day ago, or just now.
func (p *probe) flipped(o *probe, off float64, now bool) bool {
	before, since := swapDay-1, swapDay+swapMoves
	if now {
		before, since = swapMarks-2-swapMoves, swapMarks-1
	}
	for _, q := range []*probe{p, o} {
		if !q.Marks.Has[before] || !q.Marks.Has[since] {
			return false
		}
	}
	mine, other := p.Marks.V[since]-p.Marks.V[before], o.Marks.V[since]-o.Marks.V[before]
	if off < 0 {
		mine, other, off = -mine, -other, -off
	}
	return mine <= -swapShare*off && other >= swapShare*off
}

// couldChange tells whether a probe of the same quantity sits in another bin or zone, so
// that the two may be confused. Air is none of them: a fed bin that heats as its room
// cools at night looks the same, and must be believed.
func (p *probe) couldChange(o *probe) bool {
	return p.swaps() && p.bin != "" && o.bin != "" && (o.bin != p.bin || o.zone != p.zone)
}
