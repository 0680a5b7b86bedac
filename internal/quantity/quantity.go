// Package quantity reads and writes the amounts that people put into a
// configuration, a jot or a command, each with its unit: 17C, 61F, 70%, 2 L,
// 1.2 gal, 14 kg, 16C..24C, 30m, 7d. Inside the program there are only °C, %,
// V, L, kg and [time.Duration]; this package is where the keeper's unit ends.
//
// A number without a unit is refused, since guessing it is how a bin comes to
// be watched in the wrong scale. Every refusal says what would be right.
//
// What Format… writes, Parse… reads back to the very same float64, in the
// unit that says it most briefly.
//
// It imports only farm, keeps no state and does no I/O. config,
// ingest and the commands call it. quantity.go reads values and ranges, unit.go
// numbers and their units, duration.go lengths of time; format.go writes.
package quantity

import (
	"math"
	"strings"

	"binwatchd/internal/farm"
)

// absoluteZero in °C; nothing is colder.
const absoluteZero = -273.15

// ParseTemperature reads a temperature such as 17C, 61F or 290K, in °C.
func ParseTemperature(s string) (celsius float64, err error) {
	c, err := measure(s, temperature, unit.inward)
	if err == nil && c < absoluteZero {
		return 0, newError(s, temperature.what, "it is below absolute zero")
	}
	return c, err
}

// ParseTemperatureStep reads a difference of temperatures such as 0.5C or 1F,
// in K. A step is not negative.
func ParseTemperatureStep(s string) (kelvin float64, err error) {
	k, err := measure(s, temperature, unit.step)
	return k, notNegative(s, "a difference of temperatures", k, err)
}

// ParsePercent reads a percentage between 0% and 100%.
func ParsePercent(s string) (percent float64, err error) {
	p, err := measure(s, percentage, unit.inward)
	if err == nil && (p < 0 || p > 100) {
		return 0, newError(s, percentage.what, "it must lie between 0%% and 100%%")
	}
	return p, err
}

// ParseVoltage reads a voltage such as 3.3 V or 3300 mV, in V.
func ParseVoltage(s string) (volt float64, err error) {
	v, err := measure(s, voltage, unit.inward)
	return v, notNegative(s, voltage.what, v, err)
}

// ParseVolume reads a volume such as 2 L, 500 ml, 1.2 gal, 3 qt or 1 cup, in
// L. Gallons, quarts and cups are US liquid measures.
func ParseVolume(s string) (litres float64, err error) {
	l, err := measure(s, volume, unit.inward)
	return l, notNegative(s, volume.what, l, err)
}

// ParseMass reads a mass such as 2 kg, 300 g, 4 lb or 12 oz, in kg.
func ParseMass(s string) (kg float64, err error) {
	m, err := measure(s, mass, unit.inward)
	return m, notNegative(s, mass.what, m, err)
}

// ParseAmount reads a mass or a volume; the other is 0. An ounce is one of
// mass. The amount is greater than nothing.
func ParseAmount(s string) (kg, litres float64, err error) {
	either := &dimension{"an amount", "", "", "kg, g, lb or oz for a mass, L, ml, gal, qt, pt or cup for a volume", mass.like, "# kg or # L"}
	v, word, wrong := number(s, either)
	if wrong != nil {
		return 0, 0, wrong
	}
	switch u, _ := unitBySpelling(word); {
	case u.of != mass && u.of != volume:
		_, err := unitOf(s, v, word, either)
		return 0, 0, err
	case v <= 0:
		return 0, 0, newError(s, either.what, "it must be more than nothing")
	case u.of == mass:
		return u.inward(v), 0, nil
	default:
		return 0, u.inward(v), nil
	}
}

func notNegative(s, what string, v float64, err error) error {
	if err == nil && v < 0 {
		return newError(s, what, "it is negative")
	}
	return err
}

// ParseTemperatureBand reads a range of temperatures such as 16C..24C, in °C.
// The low end may leave its unit to the high one: 16..24C.
func ParseTemperatureBand(s string) (low, high float64, err error) {
	return band(s, "a range of temperatures", "16C..24C", false, ParseTemperature)
}

// ParsePercentBand reads a range of percentages such as 68%..82%. The low end
// may leave its unit to the high one: 68..82%.
func ParsePercentBand(s string) (low, high float64, err error) {
	return band(s, "a range of percentages", "68%..82%", false, ParsePercent)
}

// band reads a range. Where one end may be left open, that is infinite.
func band(s, what, like string, open bool, parse func(string) (float64, error)) (low, high float64, err error) {
	a, b, found := strings.Cut(s, "..")
	a, b = strings.TrimSpace(a), strings.TrimSpace(b)
	if !found || open && a == "" && b == "" {
		return 0, 0, newError(s, what, "it has no .. between its ends; an example is %s", like)
	}
	low, high = math.Inf(-1), math.Inf(1)
	if b != "" || !open {
		if high, err = parse(b); err != nil {
			return 0, 0, newError(s, what, "high end: %s", err.(*Error).Why)
		}
	}
	if a != "" || !open {
		if low, err = parse(withUnitOf(a, b)); err != nil {
			return 0, 0, newError(s, what, "low end: %s", err.(*Error).Why)
		}
	}
	if low >= high {
		return 0, 0, newError(s, what, "the low end comes first and must lie below the high one")
	}
	return low, high, nil
}

// withUnitOf lends a bare number the unit that follows the other number.
func withUnitOf(bare, other string) string {
	if bare == "" || numberPattern.FindString(bare) != bare {
		return bare
	}
	return bare + other[len(numberPattern.FindString(other)):]
}

// FormatTemperatureBand writes a range of °C as ParseTemperatureBand reads it.
func FormatTemperatureBand(low, high float64) string {
	return FormatTemperature(low) + ".." + FormatTemperature(high)
}

// FormatPercentBand writes a range of % as ParsePercentBand reads it.
func FormatPercentBand(low, high float64) string {
	return FormatPercent(low) + ".." + FormatPercent(high)
}

// ParseOf reads a value of a quantity, such as 2000ppm or 2.5 mS/cm, in the inner
// unit of its row. A number alone is enough where the inner unit is written with
// nothing: pH.
func ParseOf(row *farm.QuantityRow, s string) (float64, error) {
	switch row.Name {
	case farm.Temperature:
		return ParseTemperature(s)
	case farm.Moisture:
		return ParsePercent(s)
	case farm.Battery:
		return ParseVoltage(s)
	}
	d, units := dimensionOf(row)
	v, word, wrong := number(s, d)
	if wrong != nil {
		return 0, wrong
	}
	for _, u := range units {
		if u.spells(word) || word == "" && row.Units[0].Suffix == "" {
			return u.inward(v), nil
		}
	}
	_, err := unitOf(s, v, word, d)
	return 0, err
}

// ParseBandOf reads a range of a quantity such as 0ppm..2000ppm, ..2000ppm or
// 15 kg.. : an end that is left out is infinite.
func ParseBandOf(row *farm.QuantityRow, s string) (low, high float64, err error) {
	parse := func(end string) (float64, error) { return ParseOf(row, end) }
	return band(s, "a range of "+row.Noun, ".."+row.Like, true, parse)
}

// FormatOf writes a value as ParseOf reads it: in the inner unit, or in another
// where that says in a few figures what was given so: 10 lb, not
// 4.535923700000001 kg.
func FormatOf(row *farm.QuantityRow, v float64) string {
	const few = 8
	best, suffix := decimal(v), row.Units[0].Suffix
	long := len(best) > few
	for _, u := range row.Units[1:] {
		n := math.Round(u.Outer(v)*1e6) / 1e6
		if text := decimal(n); long && len(text) <= few && len(text) < len(best) && u.Suffix != "" && u.Inner(n) == v {
			best, suffix = text, u.Suffix
		}
	}
	return best + suffix
}

// FormatBandOf writes a range as ParseBandOf reads it.
func FormatBandOf(row *farm.QuantityRow, low, high float64) string {
	end := func(v float64) string {
		if math.IsInf(v, 0) {
			return ""
		}
		return FormatOf(row, v)
	}
	return end(low) + ".." + end(high)
}

// dimensionOf makes the dimension of a row, and its units.
func dimensionOf(row *farm.QuantityRow) (*dimension, []unit) {
	inner := strings.TrimSpace(row.Units[0].Suffix)
	d := &dimension{what: "a value of " + row.Noun, noun: row.Noun, inner: inner, like: row.Like, propose: "# " + inner}
	var units []unit
	var choices []string
	for _, u := range row.Units {
		symbol := strings.TrimSpace(u.Suffix)
		if symbol == "" {
			symbol = string(u.Unit)
		}
		units = append(units, unit{d, symbol, strings.ToLower(symbol), u.Zero, u.Times, u.Over})
		choices = append(choices, symbol)
	}
	last := len(choices) - 1
	d.choices = strings.TrimPrefix(strings.Join(choices[:last], ", ")+" or "+choices[last], " or ")
	return d, units
}
