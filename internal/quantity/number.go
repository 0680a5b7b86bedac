package quantity

import (
	"regexp"
	"strconv"
	"strings"
)

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
		return 0, "", newError(s, d.what, "decimals are written with a point: %s", shorten(strings.Replace(t, ",", ".", 1)))
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
