package quantity

import (
	"math"
	"strings"

	"binwatchd/internal/farm"
)

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
	what, like := "a range of "+row.Noun, row.Like
	a, b, found := strings.Cut(s, "..")
	a, b = strings.TrimSpace(a), strings.TrimSpace(b)
	low, high = math.Inf(-1), math.Inf(1)
	if !found || a == "" && b == "" {
		return 0, 0, newError(s, what, "it has no .. between its ends; an example is ..%s", like)
	}
	if b != "" {
		if high, err = ParseOf(row, b); err != nil {
			return 0, 0, newError(s, what, "high end: %s", err.(*Error).Why)
		}
		a = withUnitOf(a, b)
	}
	if a != "" {
		if low, err = ParseOf(row, a); err != nil {
			return 0, 0, newError(s, what, "low end: %s", err.(*Error).Why)
		}
	}
	if low >= high {
		return 0, 0, newError(s, what, "the low end comes first and must lie below the high one")
	}
	return low, high, nil
}

// FormatOf writes a value as ParseOf reads it.
func FormatOf(row *farm.QuantityRow, v float64) string { return decimal(v) + row.Units[0].Suffix }

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
	d := &dimension{what: "a value of " + row.Noun, noun: row.Noun, inner: strings.TrimSpace(row.Units[0].Suffix), like: row.Like}
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
	d.choices = strings.Join(choices, ", ")
	if n := len(choices); n > 1 {
		d.choices = strings.Join(choices[:n-1], ", ") + " or " + choices[n-1]
	}
	return d, units
}
