package farm

import (
	"math"
	"slices"
	"strconv"
)

// Units are what people of this farm read: metric or us. Inside, everything
// stays °C, L and kg.
type Units string

const (
	Metric Units = "metric"
	US     Units = "us"
)

const (
	litresPerGallon = 3.785411784 // US liquid gallon, NIST Handbook 44 Appendix C
	litresPerQuart  = litresPerGallon / 4
	litresPerPint   = litresPerGallon / 8
	kgPerPound      = 0.45359237 // avoirdupois pound, NIST Handbook 44 Appendix C
)

// CelsiusOf converts a temperature of so many °F.
func CelsiusOf(f float64) float64 { return fahrenheit.Inner(f) }

// Temperature writes °C as a keeper reads it: "18.5 °C", "65 °F".
func (u Units) Temperature(c float64) string { return u.Say(Temperature, c) }

// Moisture writes % wet basis: "72 %".
func (u Units) Moisture(pct float64) string { return u.Say(Moisture, pct) }

// Volume writes an amount of liquid or castings as a person would say it:
// "about 3 litres", "about 1¼ gallons".
func (u Units) Volume(l float64) string { return u.volume(l).String() }

// VolumeGiven writes an amount that the keeper has measured: "3 litres". one tells
// that it is one of its unit.
func (u Units) VolumeGiven(l float64) (said string, one bool) {
	a := u.volume(l)
	return a.exact(), a.number == "1"
}

// VolumeOf writes a part of a whole in one breath: "about 9 of 21 gallons".
func (u Units) VolumeOf(part, whole float64) string {
	a, b := u.volume(part), u.volume(whole)
	if a.before == about && a.many == b.many {
		return about + a.number + " of " + b.exact()
	}
	return a.String() + " of " + b.exact()
}

// Mass writes kg as a person would say it: "about 2 kg", "about 4½ lb".
func (u Units) Mass(kg float64) string { return u.mass(kg).String() }

// MassGiven writes a mass that the keeper has weighed: "2 kg".
func (u Units) MassGiven(kg float64) string { return u.mass(kg).exact() }

func (u Units) volume(l float64) amount {
	switch {
	case u != US:
		return amountOf(l, "litre", "litres")
	case l/litresPerGallon >= 0.95:
		return amountOf(l/litresPerGallon, "gallon", "gallons")
	case l < 0.7*litresPerQuart:
		return amountOf(l/litresPerPint, "pint", "pints")
	}
	return amountOf(l/litresPerQuart, "quart", "quarts")
}

func (u Units) mass(kg float64) amount {
	if u == US {
		return amountOf(kg/kgPerPound, "lb", "lb")
	}
	return amountOf(kg, "kg", "kg")
}

// An amount is what a keeper can measure with a jug, in words.
type amount struct{ before, number, unit, many string }

func (a amount) String() string { return a.before + a.number + " " + a.unit }

// exact leaves out the "about".
func (a amount) exact() string {
	if a.before == about {
		a.before = ""
	}
	return a.String()
}

const about = "about "

// amountOf rounds to halves up to ten (and quarters up to two), whole numbers up
// to thirty, fives beyond.
func amountOf(v float64, one, many string) amount {
	step := 5.0
	switch {
	case v < 2:
		step = 0.25
	case v < 10:
		step = 0.5
	case v < 30:
		step = 1
	}
	switch r := math.Round(v/step) * step; {
	case r == 0 && v <= 0:
		return amount{"", "no", many, many}
	case r == 0:
		return amount{"a little under ", quarters(0.25), one, many}
	case r <= 1:
		return amount{about, quarters(r), one, many}
	default:
		return amount{about, quarters(r), many, many}
	}
}

// quarters writes a multiple of a quarter with a vulgar fraction: 1.25 is 1¼.
func quarters(v float64) string {
	whole, part := math.Modf(v)
	frac := map[float64]string{0.25: "¼", 0.5: "½", 0.75: "¾"}[part]
	if whole == 0 && frac != "" {
		return frac
	}
	return strconv.FormatFloat(whole, 'f', 0, 64) + frac
}

// trimmed writes v with at most n decimals and no trailing zeros.
func trimmed(v float64, n int) string {
	p := math.Pow(10, float64(n))
	return strconv.FormatFloat(noMinusZero(math.Round(v*p)/p), 'f', -1, 64)
}

func noMinusZero(v float64) float64 {
	if v == 0 {
		return 0
	}
	return v
}

// Beside writes a level so that it never looks the same as a limit that it is not
// at: "69.7 %" beside a limit of 70 %. A keeper who reads "too dry" beside a
// number that is inside the band believes neither.
func (u Units) Beside(q Quantity, v float64, limits ...float64) string {
	w := q.Row().Written(u)
	says := []func(float64) string{w.String}
	for more := range 3 { // never fewer than the row has: 24.52 beside 24.5 is not 25
		says = append(says, func(v float64) string { return w.fixed(v, max(w.Digits, 0)+more) })
	}
	for _, say := range says {
		said := say(v)
		if !slices.ContainsFunc(limits, func(limit float64) bool { return v != limit && said == say(limit) }) {
			return said
		}
	}
	return "a hair past " + w.String(v)
}

// Say writes a level beside what its zone is held to; v is its middle or an end.
func (l *LevelView) Say(u Units, q Quantity, v float64) string {
	held := []float64{l.Bands.Thrive.Low, l.Bands.Thrive.High, l.Bands.Survive.Low, l.Bands.Survive.High}
	if l.Bands.IsZero() {
		held = nil
	}
	for _, limit := range l.Limits {
		held = append(held, limit.At)
	}
	return u.Beside(q, v, held...)
}
