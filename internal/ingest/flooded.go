package ingest

import (
	"slices"
	"time"
)

// A flooding keeps how a moisture climbs, to know a probe into which water has got: it
// goes to the end of its scale within hours, and stays there, where water that was
// poured or rained drains away, shows at other probes, or is written down.
type flooding struct {
	From int64   // since when it is far over its slow level; 0: it is not
	Low  float64 // where that was
	Mean float64 // of the last few
	Top  float64 // the most that has been since then
	Over int64   // since when it is wetter than stuff can be; 0: it is not
	In   bool    // water is in the probe: it is doubted
	Wet  int64   // since when it has been
}

// Stuff holds water in its pores, and what the pores cannot hold stands on it: of a dry
// density d, kg a litre, and 1.5 for what it is made of, that is 1 - d/1.5 of the room
// (Hillel 1998, Environmental Soil Physics, ch. 3; the 1.5 from memory). Bedding of
// 0.1 is full at 90 % of fresh mass, castings of 0.2 at 81 %. What lies beside those two
// is common practice, no source.
const (
	fullBedding  = 93.0
	fullCastings = 83.0
	floodClimbs  = 8.0              // points over its slow level
	floodStarts  = 5.0              // points over it, and more than it wanders
	floodDrains  = 2.0              // points under its top: what is poured drains
	floodMean    = 90 * time.Minute // or two readings
	floodLasts   = 2 * time.Hour    // without a word of the keeper
	floodJotted  = 48 * time.Hour   // after one: a can has long spread
	floodBefore  = 12 * time.Hour   // a word may be so old
	floodShared  = 0.4              // of its rise, by which another probe has risen, too: rain, or a round with the can
)

// full is the moisture at which water stands in the stuff of a probe's zone.
func (p *probe) full() float64 {
	if p.living {
		return fullBedding
	}
	return fullCastings
}

// flooded tells whether a moisture goes on reading the water in its probe.
func (p *probe) flooded(v float64) bool { return p.Flood.In && v > p.Flood.back() }

// back is where a probe that has dried is again, at the latest.
func (s *flooding) back() float64 { return (s.Low + s.Top) / 2 }

// learnFlood takes in a moisture.
func (p *probe) learnFlood(v float64, at int64) {
	if !p.moisture() || p.bin == "" {
		return
	}
	s := &p.Flood
	low := p.Base.V
	switch {
	case p.Base.From == 0 || s.From == 0 && p.T-p.Base.From < millis(baseKnown):
		return
	case s.In && (!p.flooded(v) || p.Worked > s.Wet+workedBefore):
		*s = flooding{}
		p.restart() // it is dry again, or the keeper has looked
		return
	case s.From == 0 && v > low+max(floodStarts, wanders*p.Base.Wander):
		*s = flooding{From: at, Low: low, Mean: v}
	case s.From == 0:
		return
	case v < s.Low+floodStarts/2:
		*s = flooding{}
		return
	}
	s.Mean += (v - s.Mean) / max(2, min(meanOf, float64(millis(floodMean))/float64(p.every())))
	s.Top = max(s.Top, s.Mean)
	if s.Mean < p.full() || s.Mean < s.Low+floodClimbs || s.Mean < s.Top-floodDrains-p.Noise {
		s.Over = 0
		return
	}
	if s.Over == 0 {
		s.Over = at
	}
	if !s.In && at-s.Over >= millis(p.floodLasts()) && !p.sharesWater() {
		s.In, s.Wet = true, at
	}
}

// floodLasts is how long a moisture must stay at the end of its scale.
func (p *probe) floodLasts() time.Duration {
	if p.Worked != 0 && p.Worked >= p.Flood.From-millis(floodBefore) {
		return floodJotted
	}
	return floodLasts
}

// sharesWater tells whether another moisture of the farm has risen, too: rain or a
// round with the can would reach it.
func (p *probe) sharesWater() bool {
	mine := &p.Flood
	return slices.ContainsFunc(p.alike, func(o *probe) bool {
		s, apart := &o.Flood, max(o.Flood.From-mine.From, mine.From-o.Flood.From)
		return o != p && o.bin != "" && s.From != 0 && !s.In && apart <= millis(floodBefore) && s.Mean-s.Low >= floodShared*(mine.Mean-mine.Low)
	})
}
