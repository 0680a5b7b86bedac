package rules

import (
	"time"

	"binwatchd/internal/farm"
)

// ActBy says by when something is to be done about a forecast.
func (s *State) ActBy(f farm.Forecast, now time.Time) string { return s.actBy(f, now) }
