package config

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
	"gopkg.in/yaml.v3"
)

func textNode(s string) *yaml.Node {
	return &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: s}
}

// plainNode is written without quotes, as numbers and dates are.
func plainNode(s string) *yaml.Node {
	return &yaml.Node{Kind: yaml.ScalarNode, Value: s}
}

// scalar is a single value written as text; wanted says what it is, with its
// article.
func scalar[V any](wanted, example string, parse func(string) (V, error), format func(V) string) codec[V] {
	return codec[V]{
		read: func(r *reader, n node) (v V, ok bool) {
			s, ok := r.scalar(n, wanted)
			if !ok {
				return v, false
			}
			v, err := parse(s)
			if err != nil {
				r.problem(n.place(), "%v", err)
			}
			return v, err == nil
		},
		write:  func(v V) *yaml.Node { return textNode(format(v)) },
		schema: schema{"type": "string", "examples": []any{example}},
	}
}

// checked narrows a codec: wrong says what is wrong with a value, or "".
func checked[V any](c codec[V], wrong func(V) string) codec[V] {
	read := c.read
	c.read = func(r *reader, n node) (V, bool) {
		v, ok := read(r, n)
		if !ok {
			return v, false
		}
		if why := wrong(v); why != "" {
			r.problem(n.place(), "%s", why)
			return v, false
		}
		return v, true
	}
	return c
}

func asIs(s string) string { return s }

// longestText bounds free text: no name, topic or path a keeper writes comes
// near it.
const longestText = 1000

// text is free text of one line.
func text(wanted, example string) codec[string] {
	return scalar(wanted, example, func(s string) (string, error) {
		switch {
		case strings.TrimSpace(s) == "":
			return "", fmt.Errorf("%s cannot be empty", wanted)
		case utf8.RuneCountInString(s) > longestText:
			return "", fmt.Errorf("%s cannot be longer than %d characters", wanted, longestText)
		case strings.ContainsFunc(s, unicode.IsControl):
			return "", fmt.Errorf("%s is one line without control characters", wanted)
		}
		return s, nil
	}, asIs)
}

// word is one of a fixed set.
func word[V ~string](what string, known []V) codec[V] {
	words := make([]string, len(known))
	for i, k := range known {
		words[i] = string(k)
	}
	c := scalar(what, words[0], func(s string) (V, error) {
		for _, k := range known {
			if string(k) == s {
				return k, nil
			}
		}
		return "", fmt.Errorf("%s is not %s: %s", quoted(s), what, hint(s, words))
	}, func(v V) string { return string(v) })
	c.schema = schema{"enum": words}
	return c
}

// number is a plain number without a unit.
func number(wanted string) codec[float64] {
	c := scalar(wanted, "", parseNumber, formatNumber)
	c.write = func(v float64) *yaml.Node { return plainNode(formatNumber(v)) }
	c.schema = schema{"type": "number"}
	return c
}

// mostNumber bounds raw numbers, so that a line through two of them is finite.
const mostNumber = 1e12

func parseNumber(s string) (float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil && !errors.Is(err, strconv.ErrRange) || strings.ContainsAny(s, "xX_nN") {
		return 0, fmt.Errorf("%s is not a plain number, such as 2850 or 0.5", quoted(s))
	}
	if math.Abs(v) > mostNumber {
		return 0, fmt.Errorf("%s is larger than any number a probe sends", quoted(s))
	}
	return v + 0, nil // adding 0 turns minus zero into zero
}

func formatNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// duration is a length of time between two ends.
func duration(least, most time.Duration) codec[time.Duration] {
	c := scalar("a length of time", "30m", quantity.ParseDuration, quantity.FormatDuration)
	return checked(c, func(d time.Duration) string {
		switch {
		case d < least:
			return fmt.Sprintf("%s is too short here: it must be at least %s", quantity.FormatDuration(d), quantity.FormatDuration(least))
		case d > most:
			return fmt.Sprintf("%s is too long here: it can be at most %s", quantity.FormatDuration(d), quantity.FormatDuration(most))
		}
		return ""
	})
}

const day = 24 * time.Hour

func percent() codec[float64] {
	return scalar("a percentage", "70%", quantity.ParsePercent, quantity.FormatPercent)
}

func temperature() codec[float64] {
	c := scalar("a temperature", "20C", quantity.ParseTemperature, quantity.FormatTemperature)
	return checked(c, implausible)
}

// Plausible temperatures of a bin and of what a probe of one can show, °C.
const coldest, hottest = -60, 100

func implausible(c float64) string {
	if c < coldest || c > hottest {
		return fmt.Sprintf("%s is no temperature of a worm bin; is the unit right?", quantity.FormatTemperature(c))
	}
	return ""
}

func temperatureStep() codec[float64] {
	return scalar("a difference of temperatures", "0.5C", quantity.ParseTemperatureStep, quantity.FormatTemperatureStep)
}

func volume() codec[float64] {
	return positive(scalar("a volume", "160 L", quantity.ParseVolume, quantity.FormatVolume))
}

func mass() codec[float64] {
	return positive(scalar("a mass", "3 kg", quantity.ParseMass, quantity.FormatMass))
}

func positive(c codec[float64]) codec[float64] {
	return checked(c, func(v float64) string {
		if v <= 0 {
			return "this must be more than nothing; leave the key out when it is not known"
		}
		return ""
	})
}

func temperatureBand() codec[farm.Band] {
	c := band("a range of temperatures", "16C..24C", quantity.ParseTemperatureBand, quantity.FormatTemperatureBand)
	return checked(c, func(b farm.Band) string {
		if why := implausible(b.Low); why != "" {
			return why
		}
		return implausible(b.High)
	})
}

func percentBand() codec[farm.Band] {
	return band("a range of percentages", "68%..82%", quantity.ParsePercentBand, quantity.FormatPercentBand)
}

// valueOf and rangeOf are of a quantity that is all in its row.
func valueOf(row *farm.QuantityRow) codec[float64] {
	c := scalar("a value of "+row.Noun, row.Like, func(s string) (float64, error) { return quantity.ParseOf(row, s) },
		func(v float64) string { return quantity.FormatOf(row, v) })
	if row.Units[0].Suffix == "" { // a number is all there is to it
		c.write = func(v float64) *yaml.Node { return plainNode(formatNumber(v)) }
		c.schema = schema{"type": []string{"number", "string"}, "examples": []any{row.Like}}
	}
	return c
}

func rangeOf(row *farm.QuantityRow) codec[farm.Band] {
	return band("a range of "+row.Noun, ".."+row.Like, func(s string) (low, high float64, err error) { return quantity.ParseBandOf(row, s) },
		func(low, high float64) string { return quantity.FormatBandOf(row, low, high) })
}

func band(wanted, example string, parse func(string) (low, high float64, err error), format func(low, high float64) string) codec[farm.Band] {
	return scalar(wanted, example, func(s string) (farm.Band, error) {
		low, high, err := parse(s)
		return farm.Band{Low: low, High: high}, err
	}, func(b farm.Band) string { return format(b.Low, b.High) })
}

// A level is a number in a battery's own unit, which another key decides.
type level struct {
	v    float64
	unit farm.Unit // V or %; "" when only the number was given
}

func batteryLevel() codec[level] {
	c := scalar("a voltage or a percentage", "3.3", parseLevel, formatLevel)
	c.write = func(l level) *yaml.Node {
		if l.unit == "" {
			return plainNode(formatNumber(l.v))
		}
		return textNode(formatLevel(l))
	}
	c.schema = schema{"type": []string{"number", "string"}, "examples": []any{3.3, "3.3 V", "20%"}}
	return c
}

func parseLevel(s string) (level, error) {
	if v, err := parseNumber(s); err == nil {
		return level{v: v}, nil
	}
	if strings.HasSuffix(strings.TrimSpace(s), "%") {
		v, err := quantity.ParsePercent(s)
		return level{v, farm.Percent}, err
	}
	v, err := quantity.ParseVoltage(s)
	return level{v, farm.Volt}, err
}

// formatLevel writes a level that has a unit.
func formatLevel(l level) string {
	if l.unit == farm.Percent {
		return quantity.FormatPercent(l.v)
	}
	return quantity.FormatVoltage(l.v)
}

// path is the name of a file.
func path() codec[string] { return text("the path of a file", "/etc/binwatchd/ca.pem") }
