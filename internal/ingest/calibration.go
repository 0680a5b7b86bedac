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

// Ranges that no bin leaves. The temperatures are wider than any bin's and
// narrower than what a broken wire reads; the rest is what the quantity can be.
// Common practice, no source.
var (
	temperatureRange = farm.Band{Low: -40, High: 80} // °C
	percentRange     = farm.Band{Low: 0, High: 100}  // %
	voltageRange     = farm.Band{Low: 0, High: 60}   // V: the largest solar battery
)

// Numbers by which a DS18B20 and its libraries report failure. 85 °C is what
// the chip holds after power-on (datasheet, Maxim Integrated 2019, DS18B20
// rev. 6, "Temperature register"); -127 °C is a common library's word for no
// answer.
const (
	powerOnC  = 85.0
	noAnswerC = -127.0
)

// checkRange judges a value by itself, without looking at any other.
func checkRange(p farm.Probe, v float64) farm.Doubt {
	if !farm.Finite(v) {
		return farm.NotANumber
	}
	switch {
	case p.Measures == farm.Temperature && faultCode(p, v):
		return farm.FaultCode
	case p.Measures == farm.Temperature && !temperatureRange.Contains(v):
		return farm.OutOfRange
	case p.Measures == farm.Moisture && !percentRange.Contains(v):
		return farm.OutOfRange
	case p.Measures == farm.Battery && !batteryRange(p.Unit).Contains(v):
		return farm.OutOfRange
	}
	return farm.NoDoubt
}

// faultCode recognises the numbers of a digital thermometer. A calibrated
// probe has numbers of its own.
func faultCode(p farm.Probe, v float64) bool {
	return len(p.Calibration) == 0 && (near(v, powerOnC) || near(v, noAnswerC))
}

// near allows for the rounding of a conversion from °F.
func near(a, b float64) bool { return math.Abs(a-b) < 1e-6 }

func batteryRange(u farm.Unit) farm.Band {
	if u == farm.Percent || u == farm.Ratio {
		return percentRange
	}
	return voltageRange
}

// How far from 0 °C neighbours and past must be for an exact zero to be a
// fault. Common practice, no source.
const (
	zeroNeighbours = 5.0 // K
	zeroPast       = 3.0 // K
	zeroUnheard    = 6.0 // K: how much further, at most, a probe may have cooled unheard
)

// allZero recognises the reading of a shorted bus. An all-zero scratchpad of a
// DS18B20 passes its checksum and reads exactly 0 °C, which is a fine winter
// temperature elsewhere: it is a fault only when the neighbours are far from
// freezing and the probe itself was, too.
func (d *Doubter) allZero(i int, v float64, at int64) bool {
	t, p := &d.tracks[i], d.farm.Probes[i]
	if p.Measures != farm.Temperature || len(p.Calibration) > 0 || !near(v, 0) {
		return false
	}
	unheard := min(d.contexts[i].limits.reachHour*hours(t.Last, at), zeroUnheard)
	if t.N > 0 && math.Abs(t.V) <= zeroPast+unheard {
		return false
	}
	m, ok := d.neighbourhood(i, at)
	return ok && math.Abs(m) > zeroNeighbours
}

// neighbourhood is the median of what the fresh neighbours read.
func (d *Doubter) neighbourhood(i int, at int64) (float64, bool) {
	var buf [16]float64
	w := buf[:0]
	for _, j := range d.contexts[i].neighbours {
		if v, ok := d.fresh(j, at); ok && len(w) < len(buf) {
			w = append(w, v)
		}
	}
	if len(w) == 0 {
		return 0, false
	}
	return median(w), true
}
