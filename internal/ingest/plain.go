package ingest

import (
	"math"

	"binwatchd/internal/farm"
)

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

// plainDoubt judges a value by itself, without looking at any other.
func plainDoubt(p farm.Probe, v float64) farm.Doubt {
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
