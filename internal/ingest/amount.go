package ingest

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"

	"binwatchd/internal/farm"
)

// Kelvin is a unit that no probe has in the configuration, which reads it by a
// calibration.
const Kelvin farm.Unit = "K"

// spellings are how devices write units, in small letters and without degree signs
// and blanks, beside the names that the quantities' rows have. Common practice, no
// source.
var spellings = func() map[string]farm.Unit {
	all := map[string]farm.Unit{
		"celsius": farm.Celsius, "degc": farm.Celsius, "fahrenheit": farm.Fahrenheit, "degf": farm.Fahrenheit, "k": Kelvin, "kelvin": Kelvin,
		"pct": farm.Percent, "percent": farm.Percent, "%rh": farm.Percent, "%vwc": farm.Percent, "volt": farm.Volt, "volts": farm.Volt,
		"millivolts": farm.Millivolt, "gram": farm.Gram, "grams": farm.Gram, "lbs": farm.Pound,
	}
	for _, row := range farm.Quantities {
		for _, u := range row.AllUnits() {
			all[strings.ToLower(string(u))] = u
		}
	}
	delete(all, string(farm.RawUnit))
	delete(all, string(farm.Ratio))
	return all
}()

var plainUnit = strings.NewReplacer("°", "", "º", "", "℃", "c", "℉", "f", "μ", "µ", " ", "", "\u00a0", "")

// longestUnit bounds what is looked up behind a number, in bytes.
const longestUnit = 16

// UnitOf reads a unit as devices write it: "°C", "celsius", "µS/cm"; "" when it is
// none that a probe could have.
func UnitOf(word string) farm.Unit {
	if len(word) > longestUnit {
		return ""
	}
	return spellings[plainUnit.Replace(strings.ToLower(word))]
}

// amount reads a value as a number with or without a unit behind it: 21.5, "21,5",
// "21.5 °C". A comma is a decimal one where it stands alone between digits.
func (v jsonValue) amount() (n float64, unit farm.Unit, ok bool) {
	if n, ok = v.number(); ok || v.kind != text {
		return n, "", ok
	}
	s := strings.TrimSpace(string(unescaped([]byte(utf8Of(v.raw)))))
	end := len(s) - len(strings.TrimLeft(s, "+-0123456789.,"))
	if len(s) > longestNumber || end == 0 {
		return 0, "", false
	}
	if number, behind := s[:end], s[end:]; behind != "" {
		if unit = UnitOf(behind); unit == "" {
			return 0, "", false
		}
		s = number
	}
	n, ok = parseNumber([]byte(withPoint(s)))
	return n, unit, ok
}

// withPoint writes a decimal comma as a point.
func withPoint(s string) string {
	i := strings.IndexByte(s, ',')
	if i <= 0 || i == len(s)-1 || strings.Count(s, ",") > 1 || strings.Contains(s, ".") || !isDigit(s[i-1]) || !isDigit(s[i+1]) {
		return s
	}
	return s[:i] + "." + s[i+1:]
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

// utf8Of reads a text as UTF-8, or where it is none as Latin-1: small boards write the
// degree sign as one byte.
func utf8Of(b []byte) string {
	if utf8.Valid(b) {
		return string(b)
	}
	r := make([]rune, len(b))
	for i, c := range b {
		r[i] = rune(c)
	}
	return string(r)
}

// raw turns a number with a unit behind it into the probe's own unit. A calibrated
// probe has none: its points are of the number as it stands.
func (p *routed) raw(n float64, unit farm.Unit) (raw float64, wrong string) {
	if unit == "" || unit == p.Unit || p.Unit == farm.RawUnit {
		return n, ""
	}
	said, ok := p.scale.row.Unit(unit)
	own, known := p.scale.row.Unit(p.Unit)
	if !ok || !known {
		return 0, fmt.Sprintf("%s %s, where a %s in %s is expected", spell(n), unit, p.scale.row.Noun, p.Unit)
	}
	return own.Outer(said.Inner(n)), ""
}

// Shape names what a payload is that is neither a number nor JSON, with what to do
// about it; "" where there is nothing to say.
func Shape(payload []byte) string {
	body := bytes.TrimSpace(payload)
	switch {
	case isBinary(body):
		return fmt.Sprintf("binary, %d bytes: have the device or its gateway decode them into numbers", len(body))
	case len(body) > 0 && (body[0] == '{' || body[0] == '[') && !(&lexer{b: body}).read(&node{slot: -1}):
		return "JSON that is cut short or broken"
	case columns(body) > 1:
		return fmt.Sprintf("%d values in a row (CSV), of which nothing says what each is: have the device send JSON, or a topic for each", columns(body))
	}
	return ""
}

// isBinary tells bytes from text: control characters, or so many beyond ASCII in
// what is no UTF-8 that it is no text of another time.
func isBinary(b []byte) bool {
	beyond := 0
	for _, c := range b {
		switch {
		case c < ' ' && c != '\t' && c != '\n' && c != '\r', c == 0x7f:
			return true
		case c >= utf8.RuneSelf:
			beyond++
		}
	}
	return !utf8.Valid(b) && 4*beyond > len(b)
}

// columns counts the values of a row of them, most of them numbers; 0 when it is none.
func columns(b []byte) int {
	for _, by := range []string{";", "\t", ","} {
		line, _, _ := strings.Cut(string(b), "\n")
		fields := strings.Split(strings.TrimRight(line, "\r;,"), by)
		numbers := 0
		for _, f := range fields {
			if _, _, ok := (jsonValue{text, unquoted([]byte(strings.TrimSpace(f)))}).amount(); ok {
				numbers++
			}
		}
		if len(fields) > 1 && numbers > 1 && 2*numbers > len(fields) {
			return len(fields)
		}
	}
	return 0
}
