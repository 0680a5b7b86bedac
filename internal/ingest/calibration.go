package ingest

import (
	"cmp"
	"math"
	"slices"

	"binwatchd/internal/farm"
	"binwatchd/internal/trend"
)

// A scale turns the number in a payload into the quantity's inner unit.
type scale struct {
	row    *farm.QuantityRow
	unit   farm.UnitRow // of the number; all zero where it is raw
	points []farm.Point // by rising Raw, no two alike
}

func newScale(p farm.Probe) scale {
	s := scale{row: p.Row(), points: slices.Clone(p.Calibration)}
	s.unit, _ = s.row.Unit(p.Unit)
	slices.SortFunc(s.points, func(a, b farm.Point) int { return cmp.Compare(a.Raw, b.Raw) })
	s.points = slices.CompactFunc(s.points, func(a, b farm.Point) bool { return a.Raw == b.Raw })
	return s
}

// value converts a raw number to the inner unit. It is NaN when the raw number is
// no number or has no meaning. What lies a little outside the quantity's range is
// taken for its end: a probe in water or in dry air never reads exactly what it
// read on the day it was calibrated.
//
// Two and more calibration points are joined by straight lines, and the end
// lines go on beyond the end points: a probe drier than its driest mark still
// says how dry, and far beyond it becomes out of range. A single point shifts
// the unit's own reading.
func (s scale) value(raw float64) float64 {
	v, all := s.calibrated(raw), s.row.Range
	if v >= all.Low-s.row.Slack && v <= all.High+s.row.Slack {
		v = min(max(v, all.Low), all.High)
	}
	return v
}

func (s scale) calibrated(raw float64) float64 {
	switch len(s.points) {
	case 0:
		return s.inner(raw)
	case 1:
		return s.inner(raw) + s.points[0].Value - s.inner(s.points[0].Raw)
	}
	i := 1
	for i < len(s.points)-1 && raw > s.points[i].Raw {
		i++
	}
	a, b := s.points[i-1], s.points[i]
	return a.Value + (raw-a.Raw)*(b.Value-a.Value)/(b.Raw-a.Raw)
}

// inner converts a number by its unit alone, which says nothing where it is raw.
func (s scale) inner(v float64) float64 {
	if s.unit.Over == 0 {
		return math.NaN()
	}
	return s.unit.Inner(v)
}

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

// Value gives the calibrated value of a raw number, in the inner unit; ok is
// false for a probe that the farm does not have.
func (c *Calibrator) Value(probe string, raw float64) (v float64, ok bool) {
	s, ok := c.scales[probe]
	if !ok {
		return 0, false
	}
	return s.value(raw), true
}

// Numbers by which a DS18B20 and its libraries report failure. 85 °C is what
// the chip holds after power-on (datasheet, Maxim Integrated 2019, DS18B20
// rev. 6, "Temperature register"); -127 °C is a common library's word for no
// answer.
const (
	powerOnC  = 85.0
	noAnswerC = -127.0
)

// rangeDoubt judges a value by itself, without looking at any other.
func rangeDoubt(p *farm.Probe, v float64) farm.Doubt {
	switch {
	case !farm.Finite(v):
		return farm.NotANumber
	case p.Measures == farm.Temperature && faultCode(p, v):
		return farm.FaultCode
	case !p.Row().Range.Contains(v):
		return farm.OutOfRange
	}
	return farm.NoDoubt
}

// faultCode recognises the numbers of a digital thermometer. A calibrated
// probe has numbers of its own.
func faultCode(p *farm.Probe, v float64) bool {
	return len(p.Calibration) == 0 && (near(v, powerOnC) || near(v, noAnswerC))
}

// near allows for the rounding of a conversion from °F.
func near(a, b float64) bool { return math.Abs(a-b) < 1e-6 }

// How far from 0 °C neighbours and past must be for an exact zero to be a
// fault. Common practice, no source.
const (
	zeroNeighbours = 5.0 // K
	zeroPast       = 3.0 // K
	zeroUnheard    = 6.0 // K: how much further, at most, a probe may have cooled unheard
)

// shorted recognises the reading of a shorted bus. An all-zero scratchpad of a
// DS18B20 passes its checksum and reads exactly 0 °C, which is a fine winter
// temperature elsewhere: it is a fault only when the neighbours are far from
// freezing and the probe itself was, too.
func (p *probe) shorted(v float64, at int64) bool {
	if !p.temperature() || len(p.Calibration) > 0 || !near(v, 0) {
		return false
	}
	unheard := min(p.rate.ReachHour*hours(p.Last, at), zeroUnheard)
	if p.N > 0 && math.Abs(p.V) <= zeroPast+unheard {
		return false
	}
	var around []float64
	for _, o := range p.neighbours {
		if v, ok := o.fresh(at); ok {
			around = append(around, v)
		}
	}
	return len(around) > 0 && math.Abs(trend.Median(around)) > zeroNeighbours
}
