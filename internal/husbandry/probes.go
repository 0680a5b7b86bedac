package husbandry

import (
	"errors"
	"math"
)

// Topp is water per volume, m³/m³, from a relative permittivity: Topp, Davis &
// Annan 1980, Water Resour Res 16:574–582, eq. 7. For mineral soil: it reads
// low in organic stuff.
func Topp(eps float64) float64 {
	return -5.3e-2 + eps*(2.92e-2+eps*(-5.5e-4+eps*4.3e-6))
}

// Malicki is water per volume, m³/m³, from a relative permittivity and a dry
// bulk density in g/cm³: Malicki, Plagge & Roth 1996, Eur J Soil Sci
// 47:357–366, eq. 10.
func Malicki(eps, density float64) float64 {
	return (math.Sqrt(eps) - 0.819 - 0.168*density - 0.159*density*density) / (7.17 + 1.18*density)
}

// InverseVoltage is the value of a probe whose reading is a straight line over
// 1/V, through two points of volts and value.
func InverseVoltage(volts, volts1, value1, volts2, value2 float64) float64 {
	part := (1/volts - 1/volts1) / (1/volts2 - 1/volts1)
	return value1 + part*(value2-value1)
}

// NTCBeta is the temperature of a thermistor, °C, from its resistance, its
// resistance at 25 °C (both in one unit) and its Beta in K.
func NTCBeta(ohms, ohmsAt25, beta float64) float64 {
	const t25 = freezing + 25
	return 1/(1/t25+math.Log(ohms/ohmsAt25)/beta) - freezing
}

// SteinhartHart are the coefficients of a thermistor:
// 1/T = A + B·ln R + C·(ln R)³, T in K, R in Ω (Steinhart & Hart 1968, Deep-Sea
// Res 15:497–503).
type SteinhartHart struct{ A, B, C float64 }

// A Resistance is a thermistor's resistance at a known temperature.
type Resistance struct{ Ohms, TempC float64 }

// SteinhartHartThrough finds the coefficients through three points. It fails
// when two of them share a resistance or one is not positive.
func SteinhartHartThrough(p [3]Resistance) (SteinhartHart, error) {
	var l, y [3]float64
	for i, q := range p {
		if !(q.Ohms > 0) {
			return SteinhartHart{}, errors.New("a resistance must be above zero")
		}
		l[i], y[i] = math.Log(q.Ohms), 1/(q.TempC+freezing)
	}
	if l[0] == l[1] || l[0] == l[2] || l[1] == l[2] {
		return SteinhartHart{}, errors.New("the three resistances must differ")
	}
	g2, g3 := (y[1]-y[0])/(l[1]-l[0]), (y[2]-y[0])/(l[2]-l[0])
	c := (g3 - g2) / (l[2] - l[1]) / (l[0] + l[1] + l[2])
	b := g2 - c*(l[0]*l[0]+l[0]*l[1]+l[1]*l[1])
	return SteinhartHart{A: y[0] - l[0]*(b+l[0]*l[0]*c), B: b, C: c}, nil
}

// TempC is the temperature at a resistance, °C.
func (s SteinhartHart) TempC(ohms float64) float64 {
	l := math.Log(ohms)
	return 1/(s.A+s.B*l+s.C*l*l*l) - freezing
}
