package ingest

import (
	"math"
	"time"
)

// A roughness keeps by how much the readings of a thermometer lie off the middle of
// their neighbours: that is noise, and no climb, however steep, and no single step.
type roughness struct {
	First, Second     float64 // the two values before the present one
	FirstAt, SecondAt int64   // 0 when not known
	From              int64   // since when it has been learnt
	N                 int     // from how many readings, up to roughSoon
	Usual             float64 // K: median, over months
	Lately            float64 // part of the latest readings that were far rougher than usual
	Grown             bool    // it has grown: the probe is doubted
}

// When the noise of a thermometer has grown. A median withstands what is wild while it
// is less than half (Rousseeuw & Croux 1993, J Am Stat Assoc 88:1273–1283, from
// memory); it is followed by steps whose size does not hang on the reading (Robbins &
// Monro 1951, Ann Math Stat 22:400–407, from memory). The numbers are common practice,
// no source.
const (
	roughFrom   = 24 * time.Hour // of history
	roughSoon   = 100            // readings over which the usual is first learnt
	roughDay    = 0.03           // of itself by which it may move in a day, later
	roughTimes  = 4.0            // far rougher is so many times as rough,
	roughSteps  = 1.6            // and so many steps of the probe's resolution,
	roughLeast  = 0.6            // K, and this
	roughHour   = 0.6            // K more for each hour between two readings, in which sun and lid do more
	roughMemory = 16 * time.Hour // of what is lately, more than the sun shines through clouds in a day,
	roughOf     = 32             // or so many readings, if that is longer
	roughGrown  = 0.45           // of them
	roughCalm   = 0.10           // of them, and it is as it was
	roughWidest = 2 * time.Hour  // between two readings: in more the day bends
)

// learn takes in a value; every is the probe's pace, ms.
func (g *roughness) learn(v float64, at int64, step float64, every int64) {
	off, follows := math.Abs(g.Second-(g.First+v)/2), at-g.FirstAt <= 3*every && every <= millis(roughWidest)
	known := g.FirstAt != 0
	spent := at - g.SecondAt
	g.First, g.FirstAt, g.Second, g.SecondAt = g.Second, g.SecondAt, v, at
	if !known || !follows {
		return
	}
	if g.From == 0 {
		g.From = at
	}
	wild := 0.0
	if off > max(roughTimes*g.Usual, roughSteps*step, roughLeast+roughHour*float64(every)/3.6e6) {
		wild = 1
	}
	switch g.N++; {
	case g.N < roughSoon/4:
		g.Usual += (off - g.Usual) / float64(g.N)
	case g.N < roughSoon:
		g.Usual += (min(off, 3*max(g.Usual, step)) - g.Usual) / float64(g.N)
	default:
		g.N = roughSoon
		g.Usual *= 1 + roughDay*float64(spent)/float64(day)*sign(off-g.Usual)
	}
	g.Lately += (wild - g.Lately) * min(float64(spent)/float64(millis(roughMemory)), 1.0/roughOf)
	switch {
	case at-g.From < millis(roughFrom) || g.N < roughSoon/4:
	case g.Lately > roughGrown:
		g.Grown = true
	case g.Lately < roughCalm:
		g.Grown = false
	}
}

// sign is 1 for what is above 0, else -1.
func sign(v float64) float64 {
	if v > 0 {
		return 1
	}
	return -1
}
