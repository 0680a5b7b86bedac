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

// VolumeRange writes an amount that may be anything between two: "6 to 11 litres".
func (u Units) VolumeRange(low, high float64) string {
	return rangeOf(low, high, u.volumeIn((low+high)/2))
}

// VolumeBeside writes an amount beside a range of them, without its unit where that
// is the range's: "4".
func (u Units) VolumeBeside(l, low, high float64) string {
	return beside(u.volume(l), u.volumeIn((low+high)/2))
}

// MassRange and MassBeside write kg likewise: "2 to 4 kg", "2".
func (u Units) MassRange(low, high float64) string { return rangeOf(low, high, u.massIn()) }

func (u Units) MassBeside(kg float64) string { return beside(u.mass(kg), u.massIn()) }

// Mass writes kg as a person would say it: "about 2 kg", "about 4½ lb".
func (u Units) Mass(kg float64) string { return u.mass(kg).String() }

// MassGiven writes a mass that the keeper has weighed: "2 kg".
func (u Units) MassGiven(kg float64) string { return u.mass(kg).exact() }

// Volumes is how an axis of volumes is written.
func (u Units) Volumes() Written {
	if u == US {
		return Written{In: UnitRow{Unit: "gal", Times: litresPerGallon, Over: 1}, Word: "gal"}
	}
	return Written{In: UnitRow{Unit: "L", Times: 1, Over: 1}, Word: "L"}
}

func (u Units) volume(l float64) amount { return u.volumeIn(l).of(l) }

func (u Units) mass(kg float64) amount { return u.massIn().of(kg) }

// A measure is a unit that a keeper measures amounts in.
type measure struct {
	one, many string
	is        float64 // L or kg
}

// of is an amount of litres or kg in it.
func (m measure) of(v float64) amount { return amountOf(v/m.is, m.one, m.many) }

// volumeIn is what so many litres are measured in.
func (u Units) volumeIn(l float64) measure {
	switch {
	case u != US:
		return measure{"litre", "litres", 1}
	case l/litresPerGallon >= 0.95:
		return measure{"gallon", "gallons", litresPerGallon}
	case l < 0.7*litresPerQuart:
		return measure{"pint", "pints", litresPerPint}
	}
	return measure{"quart", "quarts", litresPerQuart}
}

func (u Units) massIn() measure {
	if u == US {
		return measure{"lb", "lb", kgPerPound}
	}
	return measure{"kg", "kg", 1}
}

// rangeOf writes both ends of a range in one measure; one end where they look the same.
func rangeOf(low, high float64, in measure) string {
	switch a, b := in.of(low), in.of(high); {
	case a.String() == b.String():
		return b.String()
	case a.before != about:
		return "up to " + b.exact()
	default:
		return a.number + " to " + b.exact()
	}
}

// beside writes an amount beside one in some measure.
func beside(a amount, in measure) string {
	if a.many == in.many && a.before == about {
		return a.number
	}
	return a.String()
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
// at: "69.7 %" beside a limit of 70 %, and nearer than a probe is good to, "just
// under 70 %". A keeper who reads "too dry" beside a number that is inside the
// band believes neither.
func (u Units) Beside(q Quantity, v float64, limits ...float64) string {
	w := q.Row().Written(u)
	for _, say := range []func(float64) string{w.String, func(v float64) string { return w.fixed(v, max(w.Digits, 1)) }} {
		looks := func(limit float64) bool { return v != limit && say(v) == say(limit) }
		if !slices.ContainsFunc(limits, looks) {
			return say(v)
		}
	}
	near := limits[0]
	for _, limit := range limits {
		if math.Abs(v-limit) < math.Abs(v-near) {
			near = limit
		}
	}
	if v < near {
		return "just under " + w.String(near)
	}
	return "just over " + w.String(near)
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
