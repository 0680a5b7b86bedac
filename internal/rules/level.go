package rules

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// A level is what a zone is judged by: each believed probe has its own running
// median; of those the middle and both ends count.
type level struct {
	Value     float64         // the middle: thrive limits, doses and forecasts of drying go by it
	Steady    float64         // the middle, those that are missed counted as well
	Low, High farm.ProbeLevel // the worst off: limits of harm go by them
	At        time.Time       // of the newest reading behind it
	Arrived   time.Time       // of that reading
}

// clock gives the zone's own time at arrival time m: device clocks and
// arrival may differ, but both go on at the same rate.
func (l level) clock(m time.Time) time.Time { return l.At.Add(m.Sub(l.Arrived)) }

// worst is the end that a side's harm is judged by.
func (l level) worst(side farm.Side) farm.ProbeLevel {
	if side == farm.Above {
		return l.High
	}
	return l.Low
}

// several tells whether more than one probe speaks.
func (l level) several() bool { return l.Low.Probe != l.High.Probe }

// awayFor is how long a probe that has fallen silent still counts for as far
// from the others as it was. A choice: time for a keeper to look after it.
const awayFor = 24 * time.Hour

// missed tells whether a probe has nothing to say at m, but spoke lately and
// well enough that its absence is no news about the bin. One whose level itself
// is doubted is not missed.
func (p *probe) missed(m time.Time) bool {
	switch {
	case !p.HasApart:
		return false
	case p.fresh(m):
		return p.Level.Len() == 0 // it has not spoken since the lid was off
	case p.Newest.Doubt.OfLevel():
		return false
	}
	return m.Sub(p.GoodAt) <= silentAfter*p.spec.Every+awayFor
}

// measure brings a level to arrival time m. A probe that falls silent moves the
// middle though nothing has happened in the bin; Steady does not move then, for
// one that is missed is taken to lie as far from the others as it did.
func (l *level) measure(probes []*probe, m time.Time) {
	var room, rest [8]float64
	vs, bases := room[:0], rest[:0]
	for _, p := range probes {
		v, ok := p.Level.Median()
		if !ok || !p.fresh(m) {
			continue
		}
		if len(vs) == 0 || v < l.Low.Value {
			l.Low = farm.ProbeLevel{Probe: p.spec.ID, Value: v}
		}
		if len(vs) == 0 || v > l.High.Value {
			l.High = farm.ProbeLevel{Probe: p.spec.ID, Value: v}
		}
		vs = append(vs, v)
		if p.HasApart {
			bases = append(bases, v-p.Apart)
		}
	}
	if len(vs) == 0 {
		return
	}
	l.Value = middle(vs)
	if len(bases) > 0 {
		base := middle(bases)
		for _, p := range probes {
			if p.missed(m) {
				vs = append(vs, base+p.Apart)
			}
		}
	}
	l.Steady = middle(vs)
}

// middle of some levels, which it sorts; of an even number the mean of the two
// in the middle.
func middle(vs []float64) float64 {
	slices.Sort(vs)
	n := len(vs)
	return (vs[(n-1)/2] + vs[n/2]) / 2
}

// setApart notes how far each fresh probe lies from the middle.
func (l *level) setApart(probes []*probe, m time.Time) {
	for _, p := range probes {
		if v, ok := p.Level.Median(); ok && p.fresh(m) {
			p.Apart, p.HasApart = v-l.Steady, true
		}
	}
}

// worstMissed is the worst that a probe which is missed may have come to by now, if
// that is worse than what the others say.
func (l *level) worstMissed(probes []*probe, side farm.Side, m time.Time) float64 {
	worst := l.worst(side).Value
	for _, p := range probes {
		if v := l.Steady + p.Apart; farther(side, v, worst) && p.missed(m) {
			worst = v
		}
	}
	return worst
}

// anyFresh tells whether one of the probes can speak for the zone at m.
func anyFresh(probes []*probe, m time.Time) bool {
	return slices.ContainsFunc(probes, func(p *probe) bool { return p.fresh(m) })
}

// sense takes a believed reading into the zone's level and judges it.
func (s *State) sense(z *zone, p *probe, r *farm.Reading) {
	m := p.measured
	if m == nil {
		return
	}
	m.sense(r, s.Now)
	if z.holding(r.At) {
		return
	}
	if m.AtOnce > 0 {
		m.day.take(m.At, m.Steady, silentAfter*max(p.spec.Every, p.Pace.Pause()))
	}
	if m.settling.follow(m.At, m.Value) {
		z.Husbandry.Moist.Restart(m.At) // what it climbed is no trend
	}
	s.judgeLevel(z, m, m.At)
	if m == z.moist && z.spec.Aim == farm.Sifting {
		s.judgeSifting(z, m.At)
	}
}

// sense brings a level to a reading that has just been taken. The zone's time
// never falls, for the clocks of two devices may differ, and one of them may
// pour out what it has kept: patience is not over because of that.
func (m *measured) sense(r *farm.Reading, now time.Time) {
	if !r.At.Before(m.At) {
		m.At, m.Arrived = r.At, now
	}
	m.measure(m.probes, now)
	m.setApart(m.probes, now)
}

// judgeLevels lets the clocks of the limits run to arrival time m, where patience
// is waiting for that. A zone without a fresh reading is not judged: its clocks
// stop, and what is raised stays raised.
func (s *State) judgeLevels(z *zone, at time.Time) {
	for _, m := range z.measured {
		if !m.above.waits() && !m.below.waits() {
			continue
		}
		if m.measure(m.probes, at); anyFresh(m.probes, at) {
			s.judgeLevel(z, m, m.clock(at))
		} else {
			m.stop()
		}
	}
}

// judgeLevel judges a level by its limits at the zone's own time at.
func (s *State) judgeLevel(z *zone, m *measured, at time.Time) {
	m.judge(&m.above, z.spec.Patience, at, s.Now)
	m.judge(&m.below, z.spec.Patience, at, s.Now)
	for _, r := range m.records {
		b := r.breach()
		worst, to := m.worst(b.edge.side).Value, b.urgency()
		if r.Side = farm.NoSide; to != farm.Calm || r.raised() {
			r.Side = b.edge.side
		}
		r.reach(worst, b.edge.side)
		s.emit(r, at, to)
		r.reach(worst, b.edge.side)
		if r.raised() {
			s.came(r, at)
		}
	}
}

// judge turns the latches of one side: thrive by the middle of the probes, harm by
// the one that is worst off. That a probe has fallen silent neither raises nor
// eases anything: past is what is past with and without the probes that are
// missed, back what is back with and without.
func (m *measured) judge(b *bound, patience time.Duration, at, now time.Time) {
	for u := farm.Soon; u < farm.Now; u++ {
		past := m.past(b.edge, u, m.Steady) && m.past(b.edge, u, m.Value) && !m.settling.holds(b.side)
		back := b.inside(u, m.Steady, m.margin) && b.inside(u, m.Value, m.margin)
		if l := &b.hysteresis[u]; m.AtOnce == 0 {
			l.judge(at, past, back, patience)
		} else {
			l.judgeByDay(at, past, back, l.On && m.dayInside(b.edge, u), patience)
		}
	}
	worst := m.worst(b.side).Value
	back := b.inside(farm.Now, m.worstMissed(m.probes, b.side, now), m.margin) && b.inside(farm.Now, worst, m.margin)
	if l, past := &b.hysteresis[farm.Now], b.past(farm.Now, worst); m.AtOnce == 0 {
		l.judge(at, past, back, patience)
	} else {
		l.judgeHarm(at, past, back, patience)
	}
}

// past tells whether a level counts as past a thrive limit: where the mean of the
// day is past it as well, or the level is so far past it that no mean is asked.
// While too little of the day is known the level decides.
func (m *measured) past(e edge, u farm.Urgency, v float64) bool {
	if !e.past(u, v) || m.AtOnce == 0 || !farther(e.side, e.limit[u]+outward(e.side, m.AtOnce), v) {
		return e.past(u, v)
	}
	mean, known := m.day.mean()
	return !known || e.past(u, mean)
}

// dayInside tells whether the mean of the day, if it is known, lies inside a thrive
// limit by the margin.
func (m *measured) dayInside(e edge, u farm.Urgency) bool {
	mean, known := m.day.mean()
	return !known || e.inside(u, mean, m.margin)
}

// found is the urgency of the farthest limit that a level counts as past: that of
// harm by the probe that is worst off, the others by the middle.
func (m *measured) found(e edge) farm.Urgency {
	if e.past(farm.Now, m.worst(e.side).Value) {
		return farm.Now
	}
	for u := farm.Today; u > farm.Calm; u-- {
		if m.past(e, u, m.Value) {
			return u
		}
	}
	return farm.Calm
}
