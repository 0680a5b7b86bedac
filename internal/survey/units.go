package survey

import (
	"cmp"
	"fmt"
	"math"
	"path"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

// A scale is one in which probes write a quantity.
type scale struct {
	of        farm.Quantity
	named     string       // words of which the value or its unit bears one; "": any or none
	low, high float64      // of what is written so
	fraction  bool         // some number has one
	unit      farm.Unit    // raw: only points give it meaning
	points    []farm.Point // from which a calibration begins
	why       string       // the unit or the calibration is guessed
}

var everywhere = math.Inf(1)

// Words that say that a moisture is a converter's number or a voltage.
const rawWords = "raw adc analog v mv volt volts voltage millivolt millivolts spannung"

const notTrueYet = "NOT TRUE YET, a line to begin with: weigh samples and see binwatchd calibrate"

// scales are tried in turn; the first that fits is taken. Temperatures are told
// by what a bin's, -20 to 45 °C, looks like in each; a moisture probe's raw
// numbers by the full scale of its converter (10, 12 and 16 bits) or supply.
// Last comes the inner unit of each quantity's row. Common practice, no source.
var scales = append([]scale{
	{farm.Temperature, "f fahrenheit degf tempf", -everywhere, everywhere, false, farm.Fahrenheit, nil, "so its name says"},
	{farm.Temperature, "k kelvin tempk", -everywhere, everywhere, false, farm.RawUnit,
		[]farm.Point{{Raw: 273.15, Value: 0}, {Raw: 373.15, Value: 100}}, "its name says kelvin"},
	{farm.Temperature, "c celsius degc tempc", -everywhere, 80, false, farm.Celsius, nil, "so its name says"},
	{farm.Temperature, "", -20, 45, false, farm.Celsius, nil, "as °F it would be %.0f °C"},
	{farm.Temperature, "", -4, 120, false, farm.Fahrenheit, nil, "as °C it would be the end of every worm"},
	{farm.Temperature, "", -200, 450, false, farm.RawUnit, perUnit(10), "tenths of °C"},
	{farm.Temperature, "", -2000, 4500, false, farm.RawUnit, perUnit(100), "hundredths of °C"},
	{farm.Temperature, "", -20000, 45000, false, farm.RawUnit, perUnit(1000), "thousandths of °C"},

	{farm.Moisture, rawWords, 0, 5, true, farm.RawUnit, capacitive(1.15, 2.81), notTrueYet},
	{farm.Moisture, "mv millivolt millivolts", 0, 5000, false, farm.RawUnit, capacitive(1155, 2805), notTrueYet},
	{farm.Moisture, rawWords, 0, 1023, false, farm.RawUnit, capacitive(358, 870), notTrueYet},
	{farm.Moisture, "", 0, 1, true, farm.Ratio, nil, "none was over 1"},
	{farm.Moisture, "", 0, 100, false, farm.Percent, nil, "none was over 100; % of fresh mass, or calibrate it"},
	{farm.Moisture, "", 0, 1023, false, farm.RawUnit, capacitive(358, 870), notTrueYet},
	{farm.Moisture, "", 0, 4095, false, farm.RawUnit, capacitive(1433, 3481), notTrueYet},
	{farm.Moisture, "", 0, largestADC, false, farm.RawUnit, capacitive(22937, 55705), notTrueYet},

	{farm.Battery, "", 0, 5, false, farm.Volt, nil, "by its numbers"},
	{farm.Battery, "v volt volts voltage vbat vbatt batv vcc", 0, 60, false, farm.Volt, nil, "by its numbers"},
	{farm.Battery, "", 0, 100, false, farm.Percent, nil, "none was over 100"},
	{farm.Battery, "", 1000, 60000, false, farm.Millivolt, nil, "by its numbers"},

	{farm.Humidity, "", 0, 1, true, farm.Ratio, nil, "none was over 1"},
	{farm.Humidity, "", 200, 1000, false, farm.RawUnit, perUnit(10), "tenths of %"},
	{farm.Weight, "kg kilo kilos kilogram", -everywhere, everywhere, false, farm.Kilogram, nil, "so its name says"},
	{farm.Weight, "g gram grams", -everywhere, everywhere, false, farm.Gram, nil, "so its name says"},
	{farm.Weight, "lb lbs pound pounds", -everywhere, everywhere, false, farm.Pound, nil, "so its name says"},
	{farm.Weight, "oz ounce ounces", -everywhere, everywhere, false, "oz", nil, "so its name says"},
	{farm.Weight, "", 1000, 2e6, false, farm.Gram, nil, "by its numbers"},
	{farm.CO2, "", 0, 100, false, farm.Percent, nil, "no air has so few ppm"},
	{farm.Conductivity, "us µs", 0, everywhere, false, "uS/cm", nil, "so its name says"},
	{farm.Conductivity, "", 50, 50000, false, "uS/cm", nil, "by its numbers"},
}, inner()...)

// inner is the scale of each quantity's inner unit.
func inner() (all []scale) {
	for _, row := range farm.Quantities {
		low, high := row.Range.Low-row.Slack, row.Range.High+row.Slack
		all = append(all, scale{of: row.Name, low: low, high: high, unit: row.Units[0].Unit, why: "by its numbers"})
	}
	return all
}

const largestADC = 65535

// perUnit is the calibration of so many raw numbers to one of the inner unit.
func perUnit(n float64) []farm.Point {
	return []farm.Point{{Raw: 0, Value: 0}, {Raw: 100 * n, Value: 100}}
}

// capacitive is a first line for a probe that reads low when it is wet, at 35 %
// of its full scale, and high when it is dry in air, at 85 %. Only a start, so
// that the probe can be watched while it is calibrated; common practice, no
// source.
func capacitive(wet, dry float64) []farm.Point {
	return []farm.Point{{Raw: wet, Value: 90}, {Raw: dry, Value: 0}}
}

// A single lithium cell and a percentage have limits under which devices die
// soon. Common practice, no source.
const (
	lithiumLow, lithiumHigh = 2.5, 4.4
	lowCell, lowCharge      = "3.3 V", "20%"
)

// guess takes a value for what its names and its numbers say. It gives why not
// when it is taken for nothing.
func (p *Probe) guess() (whyNot string) {
	v := p.heard
	_, changing := p.beside(labelKeys)
	switch {
	case v.late():
		return "a clock that is " + v.lag.Round(time.Minute).String() + " behind, so it is not gone by: see whether its zone is the farm's"
	case len(v.stamps) > 0:
		return "a time stamp"
	case !v.isNumber():
		if p.isEncoded() {
			return "what the device sent, not decoded: have the network's server decode it"
		}
		return cmp.Or(p.members[0].shape, "no number")
	case strings.EqualFold(path.Base(p.Value), "id"): // digits may be all that it has
		return "the number of a device"
	case changing: // one topic carries several things
		return "what it is changes from message to message"
	}
	m := p.meaning()
	if m.quantity() == "" && p.isConverter() {
		m = meaning{sense: sense{measured, string(farm.Moisture)}, word: "analog"}
	}
	q := m.quantity()
	if m.kind != "" && q != farm.Temperature {
		v.noTemperature()
	}
	s, fits := p.scaleOf(q)
	switch {
	case m.kind != "" && q == "" && m.word != "":
		return fmt.Sprintf("named %s: %s", quoted(m.word), m.means)
	case m.kind != "" && q == "":
		return m.means
	case v.sound == 0 && q != farm.Temperature:
		return "only what stands for a failure"
	case q == "":
		return p.byNumbers()
	case m.kind == soil && (!fits || s.unit == farm.Percent && v.high <= 45 && p.saidUnit(q) == ""):
		return fmt.Sprintf("named %s: its moisture or its temperature, the numbers would do for both", quoted(m.word))
	case !fits:
		return fmt.Sprintf("no %s that a bin could have", q.Row().Noun)
	}
	p.Measures, p.why["measures"] = q, "named "+quoted(m.word)
	switch {
	case m.word == "analog":
		p.why["measures"] = "an analog input: right if a moisture probe is wired to it"
	case m.remote:
		p.why["measures"] = "only what it stands under says " + quoted(m.word) + ": look twice"
	}
	p.written(s)
	return ""
}

// scaleOf is the scale in which a value of q is written: the one that is said, or the first that its
// names and numbers fit.
func (p *Probe) scaleOf(q farm.Quantity) (s scale, fits bool) {
	unit := p.saidUnit(q)
	row, ok := q.Row().Unit(unit)
	switch over := p.group.told.over; {
	case ok && over != 0:
		points := []farm.Point{{Raw: 0, Value: row.Inner(0)}, {Raw: 100 * over, Value: row.Inner(100)}}
		return scale{of: q, unit: farm.RawUnit, points: points, why: "so its description says"}, true
	case ok, q == farm.Battery && unit == farm.Percent:
		return scale{of: q, unit: unit, why: "so it says"}, true
	}
	i := slices.IndexFunc(scales, func(s scale) bool { return s.of == q && p.fits(s) })
	if i < 0 {
		return scale{}, false
	}
	return scales[i], true
}

// written fills in what follows from the scale.
func (p *Probe) written(s scale) {
	v := p.heard
	if v.sound == 0 { // of a temperature
		s = scale{of: s.of, unit: farm.Celsius, why: "only the fault code " + v.text + " was heard"}
	}
	p.Unit, p.Calibration = s.unit, s.points
	key := "unit"
	if s.points != nil {
		key = "calibration"
	}
	p.why[key] = strings.ReplaceAll(s.why, "%.0f", fmt.Sprintf("%.0f", farm.CelsiusOf(v.high)))
	volts, _ := s.of.Row().Unit(s.unit)
	switch {
	case s.of != farm.Battery:
	case s.unit == farm.Percent:
		p.Low, p.why["low"] = lowCharge, "yours to set"
	case volts.Inner(v.low) >= lithiumLow && volts.Inner(v.high) <= lithiumHigh:
		p.Low, p.why["low"] = lowCell, "a single lithium cell, by its voltage"
	}
}

// fits tells whether a value may be written so.
func (p *Probe) fits(s scale) bool {
	v := p.heard
	return v.sound == 0 || v.low >= s.low && v.high <= s.high && (!s.fraction || v.fraction) && (s.named == "" || p.isNamed(strings.Fields(s.named)))
}

// isNamed tells whether one of the words nearest to the value is among some, or
// the unit that is written beside it.
func (p *Probe) isNamed(some []string) bool {
	topic := p.members[0].name
	texts := append(p.units(), cmp.Or(p.Value, topic[strings.LastIndex(topic, "/")+1:]))
	return name{words: split(strings.Join(texts, " "))}.hasAny(some...)
}

// byNumbers tells of a value that no name speaks for. Numbers alone prove
// nothing: what weighs 20 kg would be a bin of 20 °C.
func (p *Probe) byNumbers() string {
	hint, v := "", p.heard
	switch {
	case p.Value != "":
	case v.low >= -20 && v.high <= 45 && v.fraction:
		hint = "; by its numbers it could be a temperature"
	case v.low >= 200 && v.high <= largestADC && !v.fraction:
		hint = "; by its numbers it could be a moisture probe's converter"
	}
	return "neither its name nor its unit says what it is" + hint
}
