package demo

import (
	"fmt"
	"time"
)

// Batteries run down evenly. The keeper brings a new one some rounds after the
// old one got low: see careForBatteries.
const (
	crateFullV  = 3.92
	cratePerDay = 0.025
	crateLowV   = 3.3 // the configuration's low

	shedFullPct = 96.0
	shedPerDay  = 0.9
	shedLowPct  = 20.0
)

// batteries remembers when each was last changed.
type batteries struct{ crate, shed time.Time }

func (b batteries) crateV(t time.Time) float64 {
	return crateFullV - cratePerDay*t.Sub(b.crate).Hours()/24
}

func (b batteries) shedPct(t time.Time) float64 {
	return max(0, shedFullPct-shedPerDay*t.Sub(b.shed).Hours()/24)
}

func (s *Sim) crateBattery(_ *site, t time.Time) string {
	return fmt.Sprintf("%.2f", s.batteries.crateV(t))
}

func (s *Sim) shedBattery(_ *site, t time.Time) string {
	return fmt.Sprintf("%.0f", s.batteries.shedPct(t))
}
