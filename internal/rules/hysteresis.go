package rules

import (
	"math"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// A latch is one limit with its two clocks. The breach
// clock runs while the level is past the limit and stops when it is back at
// the limit; the other runs while the level is inside by the margin. Fields
// are exported for snapshots.
type latch struct {
	Past   time.Time // since when past the limit; zero when it is not
	Inside time.Time // since when inside by the margin; zero when it is not
	On     bool
	Came   comings // where the mean of a day is asked
}

// judge moves the clocks to at and the latch on or off after patience.
func (r *latch) judge(at time.Time, past, inside bool, patience time.Duration) {
	r.Past = running(r.Past, at, past)
	r.Inside = running(r.Inside, at, inside)
	switch {
	case past && at.Sub(r.Past) >= patience:
		r.On = true
	case inside && at.Sub(r.Inside) >= patience:
		r.On = false
	}
}

// insideFor is how long a level must be inside for its day not to be asked. A
// choice: longer than a night or an afternoon.
const insideFor = 12 * time.Hour

// judgeByDay moves the clocks to at and the latch by the mean of a day: it goes off
// once that is inside and the level, too, for patience, or the level alone for
// half a day. What comes again and again has to stay away for longer.
func (r *latch) judgeByDay(at time.Time, past, inside, dayInside bool, patience time.Duration) {
	r.Past = running(r.Past, at, past)
	r.Inside = running(r.Inside, at, inside)
	switch {
	case past && at.Sub(r.Past) >= patience:
		r.On = true
		r.Came.note(r.Past, at)
	case inside && (dayInside && at.Sub(r.Inside) >= patience || at.Sub(r.Inside) >= insideFor):
		r.On = r.On && r.Came.stays(at)
	}
}

// judgeHarm moves the clocks to at and the latch on after patience, whatever came before.
// What comes each night of a frost is one episode: it goes off once a night has passed
// without.
func (r *latch) judgeHarm(at time.Time, past, inside bool, patience time.Duration) {
	was := r.On
	if r.judge(at, past, inside, patience); past && r.On {
		r.Came.note(r.Past, at)
	}
	r.On = r.On || was && r.Came.returns(at)
}

const (
	anew     = 4 * time.Hour      // a pause as long begins another coming
	awayWeek = 7 * 24 * time.Hour // after one as long the comings are counted afresh
	awayDays = 3 * 24 * time.Hour // and what has come again is over after one as long,
	awayHarm = 30 * time.Hour     // or, past what is survived, after this
)

// Comings are how often a level has come past a limit, as a bin outdoors does each
// night of a cold spell: one episode, not one a day. The pauses are choices,
// by years of real ground.
type comings struct {
	First time.Time // when the first of them began
	Held  time.Time // when it last was past the limit
	Times int
}

// note takes in that a level has been past the limit since a time, up to at.
func (c *comings) note(since, at time.Time) {
	switch away := since.Sub(c.Held); {
	case c.Times == 0 || away > awayWeek:
		c.First, c.Times = since, 1
	case away > anew:
		c.Times++
	}
	c.Held = at
}

// stays tells whether what has come again may yet come once more.
func (c *comings) stays(at time.Time) bool { return c.Times > 1 && at.Sub(c.Held) < awayDays }

// returns tells whether harm that has come again may yet come within the day.
func (c *comings) returns(at time.Time) bool { return c.Times > 1 && at.Sub(c.Held) < awayHarm }

// waits tells whether patience alone can still turn the latch: time matters to
// it even while the level stands still.
func (r latch) waits() bool {
	if r.On {
		return !r.Inside.IsZero()
	}
	return !r.Past.IsZero()
}

// running starts, keeps or stops a clock.
func running(since, at time.Time, runs bool) time.Time {
	switch {
	case !runs:
		return time.Time{}
	case since.IsZero():
		return at
	}
	return since
}

// stop halts both clocks and leaves what is on.
func (r *latch) stop() { r.Past, r.Inside = time.Time{}, time.Time{} }

// A hysteresis is the latches of the limits on one side of a level, by urgency, each
// turned by its own limit, a margin and patience.
type hysteresis [farm.Now + 1]latch

func (h *hysteresis) stop() {
	for u := range h {
		h[u].stop()
	}
}

func (h *hysteresis) shift(move func(...*time.Time)) {
	for u := range h {
		move(&h[u].Past, &h[u].Inside, &h[u].Came.First, &h[u].Came.Held)
	}
}

func (h *hysteresis) waits() bool { return slices.ContainsFunc(h[:], latch.waits) }

// passed gives since when the level has been past a limit, and the urgency of the
// farthest one; Calm when it is past none.
func (h *hysteresis) passed() (since time.Time, farthest farm.Urgency) {
	for u, r := range h {
		if r.Past.IsZero() {
			continue
		}
		if farthest = farm.Urgency(u); since.IsZero() || r.Past.Before(since) {
			since = r.Past
		}
	}
	return since, farthest
}

// urgency of the highest latch that is on.
func (h *hysteresis) urgency() farm.Urgency {
	for u := farm.Now; u > farm.Calm; u-- {
		if h[u].On {
			return u
		}
	}
	return farm.Calm
}

// settle turns the latches to an urgency that was told.
func (h *hysteresis) settle(told farm.Urgency) {
	for u := farm.Soon; u <= farm.Now; u++ {
		if u >= told || told == farm.Calm {
			h[u].On = u == told
		}
	}
}

// An edge is the limits on one side of a quantity: one for each urgency. An
// infinite one is never passed.
type edge struct {
	side  farm.Side // on which past lies, never NoSide
	limit [farm.Now + 1]float64
}

// never is a bound that is never passed.
func never(side farm.Side) bound {
	none := math.Inf(int(side))
	return bound{edge: edge{side, [...]float64{farm.Soon: none, farm.Today: none, farm.Now: none}}}
}

// farther tells whether a lies more to that side than b: above it, or below.
func farther(side farm.Side, a, b float64) bool { return outward(side, a) > outward(side, b) }

// outward is a value that grows towards a side: turned over where that is below.
func outward(side farm.Side, v float64) float64 { return float64(side) * v }

// past tells whether a level lies past the limit of an urgency.
func (e edge) past(u farm.Urgency, v float64) bool { return farther(e.side, v, e.limit[u]) }

// farthest is the urgency of the farthest limit that a level lies past; Calm when
// it is past none.
func (e edge) farthest(v float64) farm.Urgency {
	for u := farm.Now; u > farm.Calm; u-- {
		if e.past(u, v) {
			return u
		}
	}
	return farm.Calm
}

// inside tells whether a level lies inside that limit by the margin.
func (e edge) inside(u farm.Urgency, v, margin float64) bool {
	return outward(e.side, v) <= outward(e.side, e.limit[u])-margin
}

// counts tells whether the limit of an urgency is ever passed before the more
// urgent ones.
func (e edge) counts(u farm.Urgency) bool {
	if math.IsInf(e.limit[u], 0) {
		return false
	}
	for more := u + 1; more <= farm.Now; more++ {
		if !e.past(u, e.limit[more]) {
			return false
		}
	}
	return true
}

// after is the limit that a level which has reached an urgency passes next; ok
// is false past the last.
func (e edge) after(u farm.Urgency) (limit float64, ok bool) {
	for u++; u <= farm.Now; u++ {
		if e.counts(u) {
			return e.limit[u], true
		}
	}
	return 0, false
}

// mild is the limit that is passed first, harm the one past which there is
// harm.
func (e edge) mild() float64 {
	if e.side == farm.Above {
		return slices.Min(e.limit[farm.Soon:])
	}
	return slices.Max(e.limit[farm.Soon:])
}

// backFrom is the level from which nothing is past by the margin.
func (e edge) backFrom(margin float64) float64 { return e.mild() - outward(e.side, margin) }

func (e edge) harm() float64 { return e.limit[farm.Now] }
