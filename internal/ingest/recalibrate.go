package ingest

import "binwatchd/internal/farm"

// A Calibrator gives raw numbers that were kept their value under another
// configuration: a rehearsal of the journal reads no payload again.
type Calibrator struct{ scales map[string]scale }

// NewCalibrator knows the units and calibrations of the probes of f.
func NewCalibrator(f *farm.Farm) *Calibrator {
	c := &Calibrator{scales: make(map[string]scale, len(f.Probes))}
	for _, p := range f.Probes {
		c.scales[p.ID] = newScale(p)
	}
	return c
}

// Value gives the calibrated value of a raw number, °C, % wet basis or V; ok is
// false for a probe that the farm does not have.
func (c *Calibrator) Value(probe string, raw float64) (v float64, ok bool) {
	s, ok := c.scales[probe]
	if !ok {
		return 0, false
	}
	return s.value(raw), true
}
