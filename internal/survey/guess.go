package survey

import (
	"fmt"
	"math"
	"strings"

	"binwatchd/internal/farm"
	"binwatchd/internal/snippet"
)

// A guess is what a value is taken for, and why. Why not is set when it is
// taken for nothing.
type guess struct {
	measures    farm.Quantity
	unit        farm.Unit
	calibration []farm.Point
	low         string // of a battery, as written: "3.3 V", "20%", or ""
	why         reasons
	whyNot      string
}

// reasons say why each line of a proposal reads as it does; "" where nothing
// was guessed.
type reasons struct{ measures, unit, calibration, low, every, time string }

// guessOf takes a value for what its names and its numbers say.
func guessOf(l likeness) guess {
	c := &l.channel
	switch {
	case len(c.stamps) > 0:
		return guess{whyNot: "a time stamp"}
	case c.numbers == 0:
		return guess{whyNot: "no number"}
	case l.changing():
		return guess{whyNot: "what it is changes from message to message"}
	}
	name := meaningOf(l)
	switch {
	case name.other != "" && name.word != "":
		return guess{whyNot: fmt.Sprintf("named %s: %s", quoted(name.word), name.other)}
	case name.other != "":
		return guess{whyNot: name.other}
	case c.sound == 0 && name.measures != farm.Temperature:
		return guess{whyNot: "only what stands for a failure"}
	case name.measures == "":
		return guess{whyNot: byNumbers(l)}
	case name.vague && !clearlyMoisture(l):
		return guess{whyNot: fmt.Sprintf("named %s: its moisture or its temperature, the numbers would do for both", quoted(name.word))}
	}
	g := byQuantity[name.measures](l)
	g.measures, g.why.measures = name.measures, "named "+quoted(name.word)
	if name.remote {
		g.why.measures = "only what it stands under says " + quoted(name.word) + ": look twice"
	}
	return g
}

var byQuantity = map[farm.Quantity]func(likeness) guess{
	farm.Temperature: temperature, farm.Moisture: moisture, farm.Battery: battery,
}

// byNumbers tells of a value that no name speaks for. Numbers alone prove
// nothing: what weighs 20 kg would be a bin of 20 °C.
func byNumbers(l likeness) string {
	const unsaid = "neither its name nor its unit says what it is"
	c := &l.channel
	switch {
	case l.pointer != "":
		return unsaid
	case c.low >= -20 && c.high <= 45 && !c.whole:
		return unsaid + "; by its numbers it could be a temperature"
	case c.low >= 200 && c.high <= largestADC && c.whole:
		return unsaid + "; by its numbers it could be a moisture probe's converter"
	}
	return unsaid
}

// clearlyMoisture tells whether what is only said to be a soil's is moisture by
// its numbers or its unit: beyond what a temperature could be.
func clearlyMoisture(l likeness) bool {
	c := &l.channel
	return l.rawMoisture() || c.low >= 0 && c.high <= 1 && !c.whole || c.high > 45
}

// A tempScale is a way of writing temperatures.
type tempScale struct {
	low, high float64
	unit      farm.Unit
	per       float64 // raw numbers per K where unit is raw
	why       string
}

// The scales in which probes speak, by what a bin's temperature, -20 to 45 °C,
// looks like in each.
var tempScales = []tempScale{
	{-20, 45, farm.Celsius, 1, ""},
	{-4, 120, farm.Fahrenheit, 1, "as °C it would be the end of every worm"},
	{-200, 450, farm.RawUnit, 10, "tenths of °C"},
	{-2000, 4500, farm.RawUnit, 100, "hundredths of °C"},
	{-20000, 45000, farm.RawUnit, 1000, "thousandths of °C"},
}

func temperature(l likeness) guess {
	c := &l.channel
	switch {
	case c.sound == 0:
		return guess{unit: farm.Celsius, why: reasons{unit: "only the fault code " + c.text + " was heard"}}
	case l.named("f", "fahrenheit", "degf", "tempf"):
		return guess{unit: farm.Fahrenheit, why: reasons{unit: "so its name says"}}
	case l.named("k", "kelvin", "tempk"):
		return guess{unit: farm.RawUnit, calibration: []farm.Point{{Raw: 273.15, Value: 0}, {Raw: 373.15, Value: 100}}, why: reasons{calibration: "its name says kelvin"}}
	case l.named("c", "celsius", "degc", "tempc") && c.high <= 80:
		return guess{unit: farm.Celsius, why: reasons{unit: "so its name says"}}
	}
	for _, s := range tempScales {
		if c.low < s.low || c.high > s.high {
			continue
		}
		if s.unit == farm.RawUnit {
			return guess{unit: s.unit, calibration: []farm.Point{{Raw: 0, Value: 0}, {Raw: 100 * s.per, Value: 100}}, why: reasons{calibration: s.why}}
		}
		return guess{unit: s.unit, why: reasons{unit: s.celsius(c)}}
	}
	return guess{whyNot: "no temperature that a bin could have"}
}

func (s tempScale) celsius(c *channel) string {
	if s.unit == farm.Celsius {
		return fmt.Sprintf("as °F it would be %.0f °C", farm.CelsiusOf(c.high))
	}
	return s.why
}

// Full scales of the converters that small devices have: 10, 12 and 16 bits.
var adcScales = []float64{1023, 4095, 65535}

const largestADC = 65535

// Where a capacitive probe's first line begins and ends, as parts of the full
// scale: dry in air it reads high, wet it reads low. Only a start, so that the
// probe can be watched while it is calibrated; common practice, no source.
const (
	dryPart, dryPct = 0.85, 0.0
	wetPart, wetPct = 0.35, 90.0
)

// rawMoisture tells whether a moisture is named as a converter's number or a
// voltage.
func (l likeness) rawMoisture() bool {
	return l.named("raw", "adc", "analog", "v", "mv", "volt", "volts", "voltage", "millivolt", "millivolts", "spannung")
}

func moisture(l likeness) guess {
	c := &l.channel
	raw := l.rawMoisture()
	switch {
	case c.low < 0 || c.high > largestADC:
		return guess{whyNot: "no moisture"}
	case c.high <= 1 && !c.whole && !raw:
		return guess{unit: farm.Ratio, why: reasons{unit: "none was over 1"}}
	case c.high <= 100 && !raw:
		return guess{unit: farm.Percent, why: reasons{unit: "none was over 100; % of fresh mass, or calibrate it"}}
	}
	full := fullScale(c, l.named("mv", "millivolt", "millivolts"))
	return guess{
		unit:        farm.RawUnit,
		calibration: []farm.Point{{Raw: tidy(wetPart * full), Value: wetPct}, {Raw: tidy(dryPart * full), Value: dryPct}},
		why:         reasons{calibration: "NOT TRUE YET, a line to begin with: weigh samples and see binwatchd calibrate"},
	}
}

// tidy rounds to whole numbers, or to hundredths of a volt.
func tidy(raw float64) float64 {
	if raw < 100 {
		return math.Round(raw*100) / 100
	}
	return math.Round(raw)
}

// fullScale is what the probe's converter or supply would read at most.
func fullScale(c *channel, millivolts bool) float64 {
	if !c.whole && c.high <= 5 {
		return 3.3
	}
	if millivolts && c.high <= 5000 {
		return 3300
	}
	for _, full := range adcScales {
		if c.high <= full {
			return full
		}
	}
	return largestADC
}

// A single lithium cell and a percentage have limits under which devices die
// soon. Common practice, no source.
const (
	lithiumLow, lithiumHigh = 2.5, 4.4
	lowCell, lowPercent     = "3.3 V", "20%"
)

func battery(l likeness) guess {
	c := &l.channel
	volts := l.named("v", "volt", "volts", "voltage", "vbat", "vbatt", "batv", "vcc")
	switch {
	case c.low < 0:
		return guess{whyNot: "no battery"}
	case c.high <= 5 || volts && c.high <= 60:
		return guess{unit: farm.Volt, low: lowOf(c, 1), why: reasons{unit: "by its numbers", low: whyLow(c, 1)}}
	case c.high <= 100:
		return guess{unit: farm.Percent, low: lowPercent, why: reasons{unit: "none was over 100", low: "yours to set"}}
	case c.low >= 1000 && c.high <= 60000:
		return guess{unit: farm.Millivolt, low: lowOf(c, 1000), why: reasons{unit: "by its numbers", low: whyLow(c, 1000)}}
	}
	return guess{whyNot: "no battery"}
}

func lowOf(c *channel, perVolt float64) string {
	if c.low >= lithiumLow*perVolt && c.high <= lithiumHigh*perVolt {
		return lowCell
	}
	return ""
}

func whyLow(c *channel, perVolt float64) string {
	if lowOf(c, perVolt) != "" {
		return "a single lithium cell, by its voltage"
	}
	return ""
}

// span says what numbers were heard: "18.5 to 21.25", "40".
func span(c *channel) string {
	switch {
	case c.sound == 0:
		return quoted(c.text)
	case c.low == c.high:
		return snippet.Number(c.low)
	}
	return snippet.Number(c.low) + " to " + snippet.Number(c.high)
}

// quoted makes a text from outside fit for a comment.
func quoted(s string) string {
	return `"` + strings.TrimSpace(snippet.Comment(s)) + `"`
}
