package config

import (
	"slices"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
)

// The paces up to which what comes is foretold in time, as seen on simulated
// bins: a feed may carry a bin past its limit within a day, drying takes weeks.
const (
	heatingPace = 2 * time.Hour
	dryingPace  = 24 * time.Hour
)

// notePace tells what a probe speaks too seldom to foretell.
func (b *builder) notePace(s *source) {
	every := s.doc.v.every
	switch q := s.proto.Measures; {
	case q == farm.Temperature && every.v > heatingPace && b.standsIn(s, farm.Living):
		b.note(every.at, "a thermometer that speaks every %s can't foretell heating in time, only tell of it: every %s would do", quantity.FormatDuration(every.v), quantity.FormatDuration(heatingPace))
	case q == farm.Moisture && every.v > dryingPace && b.standsIn(s, farm.Living, farm.Sifting, farm.Keeping):
		b.note(every.at, "a probe that speaks every %s can't foretell drying or the time to sift: every %s would do", quantity.FormatDuration(every.v), quantity.FormatDuration(dryingPace))
	}
}

// standsIn tells whether a probe of the entry stands in a zone of one of these
// aims.
func (b *builder) standsIn(s *source, aims ...farm.Aim) bool {
	for _, bin := range b.farm.Bins {
		for _, z := range bin.Zones {
			stands := slices.ContainsFunc(s.probes(), func(p farm.Probe) bool { return slices.Contains(z.Probes, p.ID) })
			if stands && slices.Contains(aims, z.Aim) {
				return true
			}
		}
	}
	return false
}
