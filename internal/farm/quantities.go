package farm

import (
	"fmt"
	"math"
	"strconv"
	"time"
)

// Quantity is what a probe measures: the name of a row of [Quantities].
type Quantity string

// Quantities that the program knows more of than their row says: the bands of
// the species, self-heating, doses of water, a probe's supply.
const (
	Temperature Quantity = "temperature" // °C
	Moisture    Quantity = "moisture"    // % of fresh mass (wet basis)
	Battery     Quantity = "battery"     // V, or % where the probe says so
)

// Quantities that are all in their row.
const (
	Humidity     Quantity = "humidity"
	Weight       Quantity = "weight"
	CO2          Quantity = "co2"
	PH           Quantity = "ph"
	Conductivity Quantity = "conductivity"
)

// Unit is what the number in a payload means.
type Unit string

const (
	Celsius    Unit = "C"
	Fahrenheit Unit = "F"
	Percent    Unit = "%"
	Ratio      Unit = "ratio" // 0..1
	Volt       Unit = "V"
	Millivolt  Unit = "mV"
	Kilogram   Unit = "kg"
	Gram       Unit = "g"
	Pound      Unit = "lb"
	PPM        Unit = "ppm" // parts per million by volume
	PHUnit     Unit = "pH"
	MilliS     Unit = "mS/cm"
	RawUnit    Unit = "raw" // only a calibration gives it meaning; fits every quantity
)

// A QuantityRow is all that the program needs to know of a quantity to read,
// judge, show and forward it. Its numbers are in the inner unit, that of
// Units[0].
type QuantityRow struct {
	Name  Quantity  // as YAML, JSON and the journal have it
	Noun  string    // as a sentence has it: "its CO2 is 2400 ppm"
	Like  string    // a value as the configuration has it, for messages: "17C"
	Units []UnitRow // that a probe may report, the default first

	// Whether a reading is believed.
	Range      Band          // all that a probe can honestly say
	Slack      float64       // a value this far outside Range is taken for its end: no probe reads exactly 0 % or 100 %
	Resolution float64       // usual step between two values of a probe
	Rate       Rate          // how fast it can change in a bin
	AirRate    Rate          // and in the air of a room; zero: as in a bin
	RisesFast  bool          // something is poured in: no rise is too fast
	Median     time.Duration // span of the running median that a level is
	ResetBy    []JotKind     // a trend is never drawn across these

	// How a level is judged.
	Bands  bool    // by thrive and survive bands, the worms' or the zone's own
	Limits bool    // by the limits that its zone gives, and only by those
	Margin float64 // how far back inside a limit counts as back, unless the keeper says otherwise
	AtOnce float64 // how far past a thrive limit a level counts whatever the mean of its day; 0: that mean is not asked
	Below  Remedy  // past a limit that the zone gives
	Above  Remedy

	// How it leaves the program.
	Field  string    // of a line-protocol point
	Gauge  Gauge     // metric of a zone's level
	Metric Written   // how people read it
	US     Written   // zero: as Metric
	Step   string    // unit of a difference: "The samples spread by 0.2 K"
	Stands [5]string // a level in its bands: far below, below, inside, above, far above

	// What a calibration does with it.
	Round  float64 // true values are rounded to this part of one: 10 is tenths
	Strays float64 // a cheap probe may be off by so much

	// InPercent stands in for the row where a probe reports a percentage that
	// can't be turned into the inner unit: the charge of a battery. Nil: there is
	// no such case.
	InPercent *QuantityRow
}

// A UnitRow turns numbers of a unit into the inner one:
// (number − Zero) · Times ÷ Over. Times and Over stay apart so that nothing is
// rounded twice.
type UnitRow struct {
	Unit              Unit
	Suffix            string // after a number in the configuration: "12%", "3.3 V"
	Zero, Times, Over float64
}

// Inner turns a number of the unit into the inner unit.
func (u UnitRow) Inner(v float64) float64 { return (v - u.Zero) * u.Times / u.Over }

// Outer turns a value of the inner unit into a number of the unit.
func (u UnitRow) Outer(v float64) float64 { return v*u.Over/u.Times + u.Zero }

// A Remedy is what to do about a quantity past its limit.
type Remedy struct {
	Do       string // common practice, no source
	Cautions []string
}

// A Rate is how fast a quantity may honestly change.
type Rate struct {
	Reach, ReachHour float64 // between two readings, and more for each hour between them
	Fast, FastHour   float64 // past this no bin changes: the probe was lifted out, or knocked
	Noisiest         float64 // most that a noisy probe may widen its own reach
}

// A Gauge is the metric of a zone's level, named after Prometheus' rules, with
// the unit at its end.
type Gauge struct {
	Name, Unit      string  // "temperature", "celsius": binwatch_temperature_celsius, binwatch_temperature_lowest_celsius
	In              UnitRow // the base unit
	Help            string  // "Temperature of a zone"
	Lowest, Highest string  // "Temperature at the coldest"
}

// Written is how people read a value: in a unit, with so many decimals at most.
type Written struct {
	In     UnitRow
	Word   string // after the number: "°C"; "" for none
	Digits int    // below 0: so many figures in all, wherever the point is
}

// Number writes a value of the inner unit without its unit.
func (w Written) Number(v float64) string {
	switch v = w.In.Outer(v); {
	case w.Digits < 0:
		return strconv.FormatFloat(v, 'g', -w.Digits, 64)
	case math.Abs(v) >= 1e15: // no probe's word, and shown to say so
		return strconv.FormatFloat(v, 'g', 3, 64)
	}
	return trimmed(v, w.Digits)
}

// String writes a value of the inner unit: "18.5 °C".
func (w Written) String(v float64) string { return w.with(w.Number(v)) }

// fixed writes a value with exactly n decimals.
func (w Written) fixed(v float64, n int) string {
	return w.with(fmt.Sprintf("%.*f", n, w.In.Outer(v)))
}

func (w Written) with(number string) string {
	if w.Word == "" {
		return number
	}
	return number + " " + w.Word
}

var (
	celsius    = UnitRow{Celsius, "C", 0, 1, 1}
	fahrenheit = UnitRow{Fahrenheit, "F", 32, 5, 9}
	percent    = UnitRow{Percent, "%", 0, 1, 1}
	ratio      = UnitRow{Ratio, "", 0, 100, 1}
	volt       = UnitRow{Volt, " V", 0, 1, 1}
	millivolt  = UnitRow{Millivolt, " mV", 0, 1, 1000}

	kilogram = UnitRow{Kilogram, " kg", 0, 1, 1}
	gram     = UnitRow{Gram, " g", 0, 1, 1000}
	pound    = UnitRow{Pound, " lb", 0, kgPerPound, 1}

	ppm      = UnitRow{PPM, "ppm", 0, 1, 1}
	ofVolume = UnitRow{Ratio, "", 0, 1e6, 1}

	milliS  = UnitRow{MilliS, " mS/cm", 0, 1, 1}
	siemens = UnitRow{"S/m", " S/m", 0, 10, 1}

	stepsInBin = []JotKind{Fed, Turned, Watered, Bedded, Sifted, Lifted, Emptied}
)

// Quantities is the table of what can be measured, in the order in which people
// are shown it. A new quantity is one row more.
//
// The rates are common practice, no source: wide enough for a bed behind glass
// on a spring morning (about 10 K an hour) and for the noise of a cheap moisture
// probe, narrow enough for the 5 to 10 K between a bin and the room a probe is
// laid down in. Air warms far faster than a bin when the sun comes out. A
// moisture can only fall that fast out of the bin.
var Quantities = []QuantityRow{
	{
		Name: Temperature, Noun: "temperature", Like: "17C", Units: []UnitRow{celsius, fahrenheit},
		// Wider than any bin's and narrower than what a broken wire reads.
		Range: Band{-40, 80}, Resolution: 0.0625, // that of a DS18B20 (datasheet, Maxim Integrated 2019)
		Rate:    Rate{Reach: 1.5, ReachHour: 3, Fast: 4, FastHour: 6, Noisiest: 8},
		AirRate: Rate{Reach: 2, ReachHour: 12, Fast: 10, FastHour: 20, Noisiest: 10},
		Median:  30 * time.Minute, ResetBy: stepsInBin,
		Bands: true, Margin: 0.5, AtOnce: 3, // K; a choice, no source
		Field:  "temperature_c",
		Gauge:  Gauge{"temperature", "celsius", celsius, "Temperature of a zone", "Temperature at the coldest", "Temperature at the hottest"},
		Metric: Written{celsius, "°C", 1}, US: Written{fahrenheit, "°F", 0}, Step: " K",
		Stands: [5]string{"colder than they survive", "cooler than they like", "comfortable", "warmer than they like", "hotter than they survive"},
		Round:  100, Strays: 0.5, // datasheet of the DS18B20
	},
	{
		Name: Moisture, Noun: "moisture", Like: "70%", Units: []UnitRow{percent, ratio},
		Range: Band{0, 100}, Slack: 3, Resolution: 0.1,
		Rate:      Rate{Reach: 6, ReachHour: 2, Fast: 10, FastHour: 2, Noisiest: 30},
		RisesFast: true, Median: 6 * time.Hour, ResetBy: stepsInBin,
		Bands: true, Margin: 2,
		Field:  "moisture_pct",
		Gauge:  Gauge{"moisture", "ratio", ratio, "Moisture of a zone, water by fresh mass", "Moisture at the driest", "Moisture at the wettest"},
		Metric: Written{percent, "%", 0}, Step: " points",
		Stands: [5]string{"drier than they survive", "drier than they like", "comfortable", "wetter than they like", "wetter than they survive"},
		Round:  10, Strays: 5, // Nagahage, Nagahage & Fujino 2019, Agriculture 9:141
	},
	{
		Name: Battery, Noun: "battery", Like: "3.3 V", Units: []UnitRow{volt, millivolt},
		Range: Band{0, 60}, Resolution: 0.001, // the largest solar battery
		Rate:   Rate{Reach: 60, Fast: 60, Noisiest: 60},
		Median: 30 * time.Minute,
		Field:  "battery_v",
		Metric: Written{volt, "V", -3}, Step: " V",
		Round: 1000, Strays: 0.05, // by choice
		InPercent: &QuantityRow{
			Name: Battery, Noun: "battery", Like: "20%", Units: []UnitRow{percent},
			Range: Band{0, 100}, Slack: 3, Resolution: 1,
			Rate:   Rate{Reach: 100, Fast: 100, Noisiest: 100},
			Median: 30 * time.Minute,
			Field:  "battery_pct",
			Metric: Written{percent, "%", -3}, Step: " points",
			Round: 10, Strays: 5,
		},
	},
	{
		Name: Humidity, Noun: "air humidity", Like: "85%", Units: []UnitRow{percent, ratio},
		Range: Band{0, 100}, Slack: 3, Resolution: 0.1,
		Rate:      Rate{Reach: 15, ReachHour: 30, Fast: 60, FastHour: 60, Noisiest: 30},
		RisesFast: true, // the lid is closed
		Median:    30 * time.Minute, ResetBy: stepsInBin,
		Limits: true, Margin: 3,
		Below:  Remedy{Do: "See whether its lid is on and whether a draught dries it."},
		Above:  Remedy{Do: "Let some air through, and see whether water stands in it."},
		Field:  "humidity_pct",
		Gauge:  Gauge{"humidity", "ratio", ratio, "Relative humidity of a zone's air", "Relative humidity at the driest", "Relative humidity at the dampest"},
		Metric: Written{percent, "%", 0}, Step: " points",
		Round: 10, Strays: 3, // what cheap polymer sensors are sold as
	},
	{
		Name: Weight, Noun: "weight", Like: "24 kg", Units: []UnitRow{kilogram, gram, pound, {"oz", " oz", 0, kgPerPound, 16}},
		Range: Band{0, 2000}, Slack: 0.5, Resolution: 0.01, // a trough on pallet scales; an empty scale reads a little below 0
		Rate:      Rate{Reach: 5, ReachHour: 2, Fast: 50, FastHour: 50, Noisiest: 50},
		RisesFast: true, // it is filled
		Median:    30 * time.Minute, ResetBy: stepsInBin,
		Limits: true, Margin: 0.5,
		Below: Remedy{Do: "See whether something was taken out, or whether the scale is free under it."},
		Above: Remedy{
			Do:       "See whether water stands in it, or whether it is fuller than its stand bears.",
			Cautions: []string{"A full bin is heavy: see that what it stands on bears it, and do not lift it alone."},
		},
		Field: "weight_kg",
		// Prometheus' base unit of mass is the gram (its page "Metric and label naming").
		Gauge:  Gauge{"weight", "grams", gram, "Weight of a zone", "Weight by the lowest", "Weight by the highest"},
		Metric: Written{kilogram, "kg", 1}, US: Written{pound, "lb", 1}, Step: " kg",
		Round: 100, Strays: 0.1,
	},
	{
		Name: CO2, Noun: "CO2", Like: "2000ppm", Units: []UnitRow{ppm, {Percent, "%", 0, 1e4, 1}, ofVolume},
		Range: Band{0, 100_000}, Slack: 100, Resolution: 1, // 10 % of the volume, the most that common sensors read
		Rate:      Rate{Reach: 500, ReachHour: 5000, Fast: 20_000, FastHour: 20_000, Noisiest: 5000},
		RisesFast: true, // a rise must never be taken for a fault
		Median:    30 * time.Minute, ResetBy: stepsInBin,
		Limits: true, Margin: 50,
		Below: Remedy{Do: "See whether the probe is right: open air has about 420 ppm."}, // NOAA, Mauna Loa, mean of 2023
		Above: Remedy{
			Do:       "Let fresh air in before anybody stays there, and loosen what ferments.",
			Cautions: []string{airCaution},
		},
		Field:  "co2_ppm",
		Gauge:  Gauge{"co2", "ratio", ofVolume, "Carbon dioxide in a zone's air, by volume", "Carbon dioxide at the lowest", "Carbon dioxide at the highest"},
		Metric: Written{ppm, "ppm", 0}, Step: " ppm",
		Round: 1, Strays: 100, // ±(50 ppm + 5 %) is what cheap infrared sensors are sold as
	},
	{
		Name: PH, Noun: "pH", Like: "6.5", Units: []UnitRow{{PHUnit, "", 0, 1, 1}},
		Range: Band{0, 14}, Resolution: 0.01,
		Rate:   Rate{Reach: 0.5, ReachHour: 0.5, Fast: 2, FastHour: 1, Noisiest: 2},
		Median: time.Hour, ResetBy: stepsInBin,
		Limits: true, Margin: 0.1,
		Below:  Remedy{Do: "Hold back sour and sweet feed, mix in dry bedding, and measure again before you lime it."},
		Above:  Remedy{Do: "Hold back lime, ash and manure, and measure again with another probe."},
		Field:  "ph",
		Gauge:  Gauge{"ph", "", UnitRow{PHUnit, "", 0, 1, 1}, "Acidity of a zone, pH", "pH at the sourest", "pH at the most alkaline"},
		Metric: Written{UnitRow{PHUnit, "", 0, 1, 1}, "", 1},
		Round:  100, Strays: 0.2,
	},
	{
		Name: Conductivity, Noun: "conductivity", Like: "2.5 mS/cm", Units: []UnitRow{
			milliS, {"µS/cm", " µS/cm", 0, 1, 1000}, {"uS/cm", " uS/cm", 0, 1, 1000}, {"dS/m", " dS/m", 0, 1, 1}, siemens,
		},
		Range: Band{0, 50}, Resolution: 0.001, // sea water has about 50 mS/cm
		Rate:      Rate{Reach: 1, ReachHour: 0.5, Fast: 5, FastHour: 1, Noisiest: 5},
		RisesFast: true, // it goes with the water that is poured in
		Median:    6 * time.Hour, ResetBy: stepsInBin,
		Limits: true, Margin: 0.1,
		Below:  Remedy{Do: "See whether the probe sits in a dry pocket: it reads less there."},
		Above:  Remedy{Do: "Hold back salty scraps and manure, and rinse it with rain water that can drain."},
		Field:  "conductivity_ms_cm",
		Gauge:  Gauge{"conductivity", "siemens_per_metre", siemens, "Electrical conductivity of a zone", "Electrical conductivity at the lowest", "Electrical conductivity at the highest"},
		Metric: Written{milliS, "mS/cm", 2}, Step: " mS/cm",
		Round: 1000, Strays: 0.1,
	},
}

// airCaution names the limits at work of 29 CFR 1910.1000 Table Z-1 and of
// EH40/2005 (5,000 ppm over 8 hours), and what NIOSH calls immediately dangerous
// to life or health (Pocket Guide to Chemical Hazards: 40,000 ppm).
const airCaution = "CO2 displaces the air and can't be smelt: in a cellar or a closed room it gathers near the floor. More than 5,000 ppm over 8 hours is too much at work (OSHA, EH40), and 40,000 ppm is at once dangerous to life (NIOSH). Air the room from outside, go in only when it has fallen, and never alone to help somebody who has collapsed. Local codes decide. This program must never be the only safety device."

// unknownRow is of a quantity that is in no row, as in a journal of a later version.
var unknownRow = QuantityRow{
	Range: Band{math.Inf(-1), math.Inf(1)}, Median: 30 * time.Minute,
	Metric: Written{In: UnitRow{Times: 1, Over: 1}, Digits: -3},
}

// Row gives the row of a quantity; never nil.
func (q Quantity) Row() *QuantityRow {
	for i := range Quantities {
		if Quantities[i].Name == q {
			return &Quantities[i]
		}
	}
	return &unknownRow
}

// QuantityNames lists the names of all quantities, for checks and messages.
func QuantityNames() []Quantity {
	names := make([]Quantity, len(Quantities))
	for i := range Quantities {
		names[i] = Quantities[i].Name
	}
	return names
}

// Row gives the row that the probe's values are of.
func (p Probe) Row() *QuantityRow {
	row := p.Measures.Row()
	if row.InPercent != nil && (p.Unit == Percent || p.Unit == Ratio) {
		return row.InPercent
	}
	return row
}

// Rounded takes off what no probe of the quantity can resolve: a level of
// 39.60000000000001 is 39.6. It keeps three figures more than the usual step has,
// so that what is just past a limit stays past it.
func (r *QuantityRow) Rounded(v float64) float64 {
	if r.Resolution == 0 || math.Abs(v) >= 1e9 {
		return v
	}
	per := math.Pow(10, 3-math.Floor(math.Log10(r.Resolution)))
	return math.Round(v*per)/per + 0
}

// AllUnits lists every unit that a probe of the quantity may report, the default
// first.
func (r *QuantityRow) AllUnits() []Unit {
	var all []Unit
	for ; r != nil; r = r.InPercent {
		for _, u := range r.Units {
			all = append(all, u.Unit)
		}
	}
	return append(all, RawUnit)
}

// Unit finds one of the units of the row itself; ok is false for raw.
func (r *QuantityRow) Unit(u Unit) (row UnitRow, ok bool) {
	return find(r.Units, func(row *UnitRow) bool { return row.Unit == u })
}

// Written gives how people of a farm read the quantity.
func (r *QuantityRow) Written(u Units) Written {
	if u == US && r.US != (Written{}) {
		return r.US
	}
	return r.Metric
}

// MarginIn is how far back inside limits counts as back unless the keeper says
// otherwise: what is back from one of them must not be past the other.
func (r *QuantityRow) MarginIn(limits Band) float64 { return min(r.Margin, (limits.High-limits.Low)/4) }

// RateIn is how fast the quantity can change in a bin, or in the air of a room.
func (r *QuantityRow) RateIn(air bool) Rate {
	if air && r.AirRate != (Rate{}) {
		return r.AirRate
	}
	return r.Rate
}

// Say writes a value of a quantity as a keeper reads it: "18.5 °C", "72 %".
func (u Units) Say(q Quantity, v float64) string { return q.Row().Written(u).String(v) }
