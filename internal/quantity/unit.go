package quantity

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// A dimension is one kind of quantity.
type dimension struct {
	what    string // the quantity with its article, for messages
	noun    string // what its units measure
	inner   string // symbol of the unit used inside the program
	choices string // the units a message proposes
	like    string // an example
	propose string // the units that a number without one, here #, may have been meant in
}

var (
	temperature = &dimension{"a temperature", "temperature", "C", "C or F", "17C", "#C or #F"}
	percentage  = &dimension{"a percentage", "shares", "%", "%", "70%", "#%"}
	voltage     = &dimension{"a voltage", "voltage", "V", "V or mV", "3.3 V", "# V"}
	volume      = &dimension{"a volume", "volume", "L", "L, ml, gal, qt, pt or cup", "2 L", "# L or # gal"}
	mass        = &dimension{"a mass", "mass", "kg", "kg, g, lb or oz", "1.5 kg", "# kg or # lb"}
	span        = &dimension{"a length of time", "time", "s", "s, m, h, d or w", "30m", "#m, #h or #d"}
)

// A unit turns a number into the inner unit of its dimension:
// (number − zero) · times ÷ over. Times and over stay apart so that a value
// written in the inner unit is not rounded twice.
type unit struct {
	of        *dimension
	symbol    string
	spellings string // separated by spaces, lower case; the symbol is one of them
	zero      float64
	times     float64
	over      float64
}

const (
	litresPerGallon = 3.785411784 // US liquid gallon, NIST Handbook 44 Appendix C
	kgPerPound      = 0.45359237  // avoirdupois pound, NIST Handbook 44 Appendix C
)

// units lists what is understood; within a dimension the first is what
// Format… prefers when two say a value equally briefly.
var units = []unit{
	{temperature, "C", "c °c celsius", 0, 1, 1},
	{temperature, "F", "f °f fahrenheit", 32, 5, 9},
	{temperature, "K", "k kelvin", 273.15, 1, 1},
	{percentage, "%", "% percent", 0, 1, 1},
	{voltage, "V", "v volt volts", 0, 1, 1},
	{voltage, "mV", "mv", 0, 1, 1000},
	{volume, "L", "l litre litres liter liters ltr", 0, 1, 1},
	{volume, "ml", "ml mls", 0, 1, 1000},
	{volume, "gal", "gal gals gallon gallons", 0, litresPerGallon, 1},
	{volume, "qt", "qt quart quarts", 0, litresPerGallon, 4},
	{volume, "pt", "pt pint pints", 0, litresPerGallon, 8},
	{volume, "cup", "cup cups", 0, litresPerGallon, 16},
	{mass, "kg", "kg kgs kilo kilos", 0, 1, 1},
	{mass, "g", "g gram grams", 0, 1, 1000},
	{mass, "lb", "lb lbs pound pounds", 0, kgPerPound, 1},
	{mass, "oz", "oz ounce ounces", 0, kgPerPound, 16},
	{span, "s", "s sec second seconds", 0, 1, 1},
	{span, "ms", "ms millisecond milliseconds", 0, 1, 1000},
	{span, "m", "m min minute minutes", 0, 60, 1},
	{span, "h", "h hour hours", 0, 3600, 1},
	{span, "d", "d day days", 0, 86400, 1},
	{span, "w", "w week weeks", 0, 7 * 86400, 1},
}

func unitBySpelling(s string) (unit, bool) {
	for _, u := range units {
		if u.spells(s) {
			return u, true
		}
	}
	return unit{}, false
}

// spells tells whether a word names the unit.
func (u unit) spells(word string) bool {
	return slices.Contains(strings.Fields(u.spellings), strings.ToLower(word))
}

func (u unit) inward(v float64) float64  { return (v - u.zero) * u.times / u.over }
func (u unit) outward(v float64) float64 { return v*u.over/u.times + u.zero }

// step is inward for a difference, in which the zero of a scale has no part.
func (u unit) step(v float64) float64 { return v * u.times / u.over }

// measure reads one number with a unit of the dimension.
func measure(s string, d *dimension, inward func(unit, float64) float64) (float64, error) {
	v, word, wrong := number(s, d)
	if wrong != nil {
		return 0, wrong
	}
	u, err := unitOf(s, v, word, d)
	if err != nil {
		return 0, err
	}
	return inward(u, v), nil
}

// unitOf finds the unit named by the word after a number, and explains itself
// when it is not one of the dimension.
func unitOf(s string, v float64, word string, d *dimension) (unit, error) {
	if word == "" {
		return unit{}, newError(s, d.what, "it has no unit: write %s", proposal(v, d))
	}
	u, ok := unitBySpelling(word)
	if !ok {
		return unit{}, newError(s, d.what, "the unit %q is not known: use %s", Shortened(word), d.choices)
	}
	if u.of != d {
		return unit{}, newError(s, d.what, "%s measures %s: use %s", u.symbol, u.of.noun, d.choices)
	}
	return u, nil
}

// proposal writes the number with the units it may have been meant in.
func proposal(v float64, d *dimension) string {
	n := decimal(v)
	if d == percentage && 0 < v && v < 1 {
		return decimal(math.Round(v*1e6)/1e4) + "% (or " + n + "%)"
	}
	return strings.ReplaceAll(d.propose, "#", n)
}

func decimal(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// numberPattern is a plain decimal number, as people write it: no exponent, no
// grouping. A vulgar fraction may follow the whole part, since notices say
// "1¼ gallons" and people copy what they read.
var numberPattern = regexp.MustCompile(`^([-+−]?)(\d*)(\.\d+|[¼½¾])?`)

// largest bounds a number: nothing in a worm farm needs more, and no
// conversion of it can overflow.
const largest = 1e9

var vulgar = map[string]float64{"¼": 0.25, "½": 0.5, "¾": 0.75}

// number splits a text into the number it begins with and the word after it.
func number(s string, d *dimension) (float64, string, *Error) {
	t := strings.TrimSpace(s)
	if t == "" {
		return 0, "", newError(s, d.what, "it is empty; an example is %s", d.like)
	}
	m := numberPattern.FindStringSubmatch(t)
	sign, whole, part := m[1], m[2], m[3]
	if whole == "" && part == "" {
		return 0, "", newError(s, d.what, "it does not begin with a number; an example is %s", d.like)
	}
	rest := t[len(m[0]):]
	if strings.HasPrefix(rest, ",") && startsWithDigit(rest[1:]) {
		return 0, "", newError(s, d.what, "decimals are written with a point: %s", Shortened(strings.Replace(t, ",", ".", 1)))
	}
	if startsWithDigit(rest) || strings.HasPrefix(rest, ".") {
		return 0, "", newError(s, d.what, "the number is not plain; an example is %s", d.like)
	}
	v, err := join(sign, whole, part)
	if err != nil || v > largest || v < -largest {
		return 0, "", newError(s, d.what, "the number is larger than any in a worm farm")
	}
	return v, strings.TrimSpace(rest), nil
}

func join(sign, whole, part string) (float64, error) {
	if whole == "" {
		whole = "0"
	}
	fraction, isVulgar := vulgar[part]
	if isVulgar {
		part = ""
	}
	v, err := strconv.ParseFloat(whole+part, 64)
	if err != nil {
		return 0, err
	}
	v += fraction
	if sign == "-" || sign == "−" {
		v = -v
	}
	return v + 0, nil // adding 0 turns minus zero, which would print as "-0", into zero
}

func startsWithDigit(s string) bool { return s != "" && '0' <= s[0] && s[0] <= '9' }

// An Error says why a text is not the quantity wanted and what would be. Its
// message is one line, whatever the text holds.
type Error struct {
	Text string // as it was given, shortened
	What string // the quantity wanted, with its article: "a mass"
	Why  string // what is wrong and what would be right
}

func (e *Error) Error() string {
	return fmt.Sprintf("%q is not %s: %s", e.Text, e.What, e.Why)
}

// longestEcho bounds how much of a wrong text comes back in its message.
const longestEcho = 40

func newError(text, what, why string, args ...any) *Error {
	return &Error{Text: Shortened(text), What: what, Why: fmt.Sprintf(why, args...)}
}

// Shortened is a wrong text as a message repeats it.
func Shortened(s string) string {
	s = strings.ToValidUTF8(s, "�")
	if utf8.RuneCountInString(s) <= longestEcho {
		return s
	}
	return string([]rune(s)[:longestEcho]) + "…"
}
