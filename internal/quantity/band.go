package quantity

import "strings"

// ParseTemperatureBand reads a range of temperatures such as 16C..24C, in °C.
// The low end may leave its unit to the high one: 16..24C.
func ParseTemperatureBand(s string) (low, high float64, err error) {
	return band(s, "a range of temperatures", "16C..24C", ParseTemperature)
}

// ParsePercentBand reads a range of percentages such as 68%..82%. The low end
// may leave its unit to the high one: 68..82%.
func ParsePercentBand(s string) (low, high float64, err error) {
	return band(s, "a range of percentages", "68%..82%", ParsePercent)
}

func band(s, what, like string, parse func(string) (float64, error)) (low, high float64, err error) {
	a, b, found := strings.Cut(s, "..")
	if !found {
		return 0, 0, newError(s, what, "it has no .. between its ends; an example is %s", like)
	}
	high, err = parse(b)
	if err != nil {
		return 0, 0, newError(s, what, "high end: %s", err.(*Error).Why)
	}
	low, err = parse(withUnitOf(a, b))
	if err != nil {
		return 0, 0, newError(s, what, "low end: %s", err.(*Error).Why)
	}
	if low >= high {
		return 0, 0, newError(s, what, "the low end comes first and must lie below the high one")
	}
	return low, high, nil
}

// withUnitOf lends a bare number the unit that follows the other number.
func withUnitOf(bare, other string) string {
	bare = strings.TrimSpace(bare)
	if bare == "" || numberPattern.FindString(bare) != bare {
		return bare
	}
	other = strings.TrimSpace(other)
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
