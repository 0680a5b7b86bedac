package ingest

import (
	"math"

	"binwatchd/internal/farm"
)

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
	unheard := min(d.places[i].limits.reachHour*hours(t.Last, at), zeroUnheard)
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
	for _, j := range d.places[i].neighbours {
		if v, ok := d.fresh(j, at); ok && len(w) < len(buf) {
			w = append(w, v)
		}
	}
	if len(w) == 0 {
		return 0, false
	}
	return median(w), true
}
