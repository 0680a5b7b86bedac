package quantity

import (
	"cmp"
	"math"
	"strings"
)

// FormatTemperature writes °C as ParseTemperature reads it: 17C, 61F.
func FormatTemperature(celsius float64) string {
	return briefest(celsius, temperature, "", unit.inward, unit.outward)
}

// FormatTemperatureStep writes a difference in K as ParseTemperatureStep reads
// it: 0.5C.
func FormatTemperatureStep(kelvin float64) string {
	outward := func(u unit, v float64) float64 { return v * u.over / u.times }
	return briefest(kelvin, temperature, "", unit.step, outward)
}

// FormatPercent writes a percentage as ParsePercent reads it: 70%.
func FormatPercent(percent float64) string { return decimal(percent) + "%" }

// FormatVoltage writes V as ParseVoltage reads it: 3.3 V.
func FormatVoltage(volt float64) string {
	return briefest(volt, voltage, " ", unit.inward, unit.outward)
}

// FormatVolume writes L as ParseVolume reads it: 160 L, 1.2 gal.
func FormatVolume(litres float64) string {
	return briefest(litres, volume, " ", unit.inward, unit.outward)
}

// FormatMass writes kg as ParseMass reads it: 3 kg, 12 oz.
func FormatMass(kg float64) string {
	return briefest(kg, mass, " ", unit.inward, unit.outward)
}

// briefest writes v in the unit of its dimension whose number is shortest to say and
// still reads back to v exactly; of numbers as short in the larger unit. So what was
// given as 1.2 gal is shown as 1.2 gal and not as 4.5424941408 L, nor 2½ lb as 40 oz.
func briefest(v float64, d *dimension, gap string, inward, outward func(unit, float64) float64) string {
	best, symbol, least := decimal(v), d.inner, math.Abs(v)
	for _, u := range units {
		if u.of != d {
			continue
		}
		for _, n := range []float64{outward(u, v), math.Round(outward(u, v)*1e6) / 1e6} {
			text := decimal(n)
			if c := cmp.Or(cmp.Compare(length(text), length(best)), cmp.Compare(math.Abs(n), least)); c < 0 && inward(u, n) == v {
				best, symbol, least = text, u.symbol, math.Abs(n)
			}
		}
	}
	return best + gap + symbol
}

// length is how long a number takes to say: from one up, a point and a half take no time.
func length(number string) int {
	whole, part, _ := strings.Cut(number, ".")
	switch {
	case strings.TrimLeft(whole, "-0") == "":
		return len(number)
	case part == "5":
		return len(whole)
	}
	return len(whole) + len(part)
}
