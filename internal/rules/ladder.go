package rules

import (
	"time"

	"binwatchd/internal/farm"
)

// A rung is one limit of a band condition with its two clocks. The breach
// clock runs while the level is past the limit and stops when it is back at
// the limit; the other runs while the level is inside by the margin. Fields
// are exported for snapshots.
type rung struct {
	Past   time.Time // since when past the limit; zero when it is not
	Inside time.Time // since when inside by the margin; zero when it is not
	On     bool
}

// judge moves the clocks to at and the rung on or off after patience.
func (r *rung) judge(at time.Time, past, inside bool, patience time.Duration) {
	r.Past = running(r.Past, at, past)
	r.Inside = running(r.Inside, at, inside)
	switch {
	case past && at.Sub(r.Past) >= patience:
		r.On = true
	case inside && at.Sub(r.Inside) >= patience:
		r.On = false
	}
}

// waits tells whether patience alone can still turn the rung: time matters to
// it even while the level stands still.
func (r *rung) waits() bool {
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
func (r *rung) stop() { r.Past, r.Inside = time.Time{}, time.Time{} }

// A ladder is a band condition: a milder limit and the limit of harm.
type ladder struct {
	Mild, Harm rung
}

func (l *ladder) stop() {
	l.Mild.stop()
	l.Harm.stop()
}

func (l *ladder) waits() bool { return l.Mild.waits() || l.Harm.waits() }

// urgency of the highest rung that is on.
func (l *ladder) urgency(mild farm.Urgency) farm.Urgency {
	switch {
	case l.Harm.On:
		return farm.Now
	case l.Mild.On:
		return mild
	}
	return farm.Calm
}

// judgeHigh judges a level against upper limits, judgeLow against lower ones.
func (l *ladder) judgeHigh(at time.Time, level, mild, harm, margin float64, patience time.Duration) {
	l.Mild.judge(at, level > mild, level <= mild-margin, patience)
	l.Harm.judge(at, level > harm, level <= harm-margin, patience)
}

func (l *ladder) judgeLow(at time.Time, level, mild, harm, margin float64, patience time.Duration) {
	l.Mild.judge(at, level < mild, level >= mild+margin, patience)
	l.Harm.judge(at, level < harm, level >= harm+margin, patience)
}
