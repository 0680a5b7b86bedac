package ingest

import (
	"cmp"
	"math"
	"slices"

	"binwatchd/internal/farm"
)

// moistureSlack is how far, in points of %, a calibrated moisture may lie
// outside 0..100 and still be taken for the nearer end: a probe in water or in
// dry air never reads exactly what it read on the day it was calibrated.
// Common practice, no source.
const moistureSlack = 3

// A scale turns the number in a payload into the quantity's inner unit.
type scale struct {
	unit    farm.Unit
	percent bool         // the value is a percentage and ends at 0 and 100
	points  []farm.Point // by rising Raw, no two alike
}

func newScale(p farm.Probe) scale {
	s := scale{unit: p.Unit, points: slices.Clone(p.Calibration)}
	s.percent = p.Measures == farm.Moisture || p.Unit == farm.Percent || p.Unit == farm.Ratio
	slices.SortFunc(s.points, func(a, b farm.Point) int { return cmp.Compare(a.Raw, b.Raw) })
	s.points = slices.CompactFunc(s.points, func(a, b farm.Point) bool { return a.Raw == b.Raw })
	return s
}

// value converts a raw number to °C, % or V. It is NaN when the raw number is
// no number or has no meaning.
//
// Two and more calibration points are joined by straight lines, and the end
// lines go on beyond the end points: a probe drier than its driest mark still
// says how dry, and far beyond it becomes out of range. A single point shifts
// the unit's own reading.
func (s scale) value(raw float64) float64 {
	v := s.calibrated(raw)
	if s.percent && v >= -moistureSlack && v <= 100+moistureSlack {
		v = min(max(v, 0), 100)
	}
	return v
}

func (s scale) calibrated(raw float64) float64 {
	switch len(s.points) {
	case 0:
		return convert(raw, s.unit)
	case 1:
		return convert(raw, s.unit) + s.points[0].Value - convert(s.points[0].Raw, s.unit)
	}
	i := 1
	for i < len(s.points)-1 && raw > s.points[i].Raw {
		i++
	}
	a, b := s.points[i-1], s.points[i]
	return a.Value + (raw-a.Raw)*(b.Value-a.Value)/(b.Raw-a.Raw)
}

// convert puts a number with a unit into the inner unit: °C, % or V.
func convert(v float64, u farm.Unit) float64 {
	switch u {
	case farm.Fahrenheit:
		return farm.CelsiusOf(v)
	case farm.Ratio:
		return v * 100
	case farm.Millivolt:
		return v / 1000
	case farm.RawUnit:
		return math.NaN()
	}
	return v
}
