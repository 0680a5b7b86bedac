package survey

import (
	"slices"
	"strings"
	"unicode"

	"binwatchd/internal/farm"
)

// What the names of values commonly mean, in the languages that makers of small
// devices use. Common practice, no source.
var (
	meanings = classed(map[farm.Quantity]string{
		farm.Temperature: "t temp temps tmp temperature temperatures temperatur temperatura celsius fahrenheit kelvin degc degf tempc tempf tempk ds18b",
		farm.Moisture:    "m moist moisture sm vwc swc wetness wassergehalt bodenfeuchte bodenfeuchtigkeit",
		farm.Battery:     "b bat batt battery batteries batterie akku accu bateria vbat vbatt batv battv vcc",
	})

	// soils are what moisture is measured in. Such a word says neither what is
	// measured nor in what.
	soils = set("soil soils ground boden erde sol suelo tierra terreno substrate substrat compost kompost castings")

	// airWaters are water in air, unless it is a soil's.
	airWaters = set("h hum humid humidity rh feuchte feuchtigkeit humidite humedad umidita luftfeuchte luftfeuchtigkeit")

	// volts are units and names of a voltage, which may be a battery's, a
	// moisture probe's or a socket's.
	volts = set("v mv volt volts voltage millivolt millivolts spannung tension")

	// generals say nothing: of the number they name, or of where it was measured.
	generals = set("value val values reading readings data state result measurement measure sensor sensors probe probes raw adc analog level avg average mean " +
		"now current last pct percent percentage c f k water content payload decoded object fields uplink message msg channel ch node device dev id index no nr " +
		"luft raum aire ambiente ambiant aussen innen interieur exterieur air room ambient outside outdoor indoor bed beds bin bins tray trays rack box crate tub zone zones near far top bottom middle left right front back inner outer upper lower " +
		"a b x y z north south east west")
)

// others are names of values that no bin is judged by, with what they are.
var others = classed(map[string]string{
	"the strength of a radio signal": "rssi snr lqi linkquality link signal dbm wifi lsnr rsrp rsrq sinr quality",
	"how a radio speaks":             "sf dr airtime frequency freq bandwidth bw hops port fport",
	"how long a device has run":      "uptime millis runtime boot boots resets reset reconnects restarts",
	"a device's memory":              "heap mem memory free ram flash",
	"a counter":                      "seq sequence count counter fcnt cnt counts frames packets pulses",
	"a number of a device":           "address addr mac serial eui",
	"a version":                      "version firmware fw build",
	"air pressure":                   "pressure press baro barometer hpa mbar kpa pa druck luftdruck pression presion p",
	"light":                          "lux light illuminance illumination brightness par ppfd uv licht helligkeit lumiere luz",
	"a gas":                          "co voc tvoc iaq gas ppm ppb ammonia nh methane oxygen",
	"acidity":                        "ph acidity",
	"salt":                           "ec salt salinity conductivity tds nutrient nutrients fertility npk",
	"a weight":                       "weight mass kg kilo kilos kilogram gram grams lb lbs pound pounds ounce ounces oz load scale scales tare gewicht waage poids peso hx",
	"a length or a volume":           "distance depth height mm cm litre litres liter liters gallon gallons volume fill tank",
	"weather":                        "rain rainfall wind gust dew dewpoint taupunkt heatindex feels humidex vpd",
	"electric power":                 "power watt watts energy kwh wh amp amps ampere ma current solar charge charging",
	wished:                           "set setpoint target wanted desired goal soll sollwert consigne objetivo threshold limit alarm hysteresis",
	bound:                            "min max minimum maximum lowest highest",
	"not the reading itself":         "offset correction calibration cal slope gain delta dt diff trend rate rise std stddev variance error err errors status code age quality confidence flag low ok has ready enabled present",
	"a setting of a device":          "interval period sleep duration delay timeout every duty pwm",
	"a switch":                       "pump valve fan relay heater led motion contact tamper switch button door window alert on off",
	"a place on the map":             "lat lon lng latitude longitude altitude alt elevation",
	ofDevice:                         "cpu chip core mcu esp board soc internal self",
})

// What else a value may be that bears the name of something measured.
const (
	wished   = "what is wished, not what is"
	bound    = "the least or greatest of several"
	ofDevice = "of the device itself"
)

const airWater = "water in air, which is not the moisture of castings"

// weak names count only where nothing better is said beside them.
var weak = set("co p ma current on off free code port link quality load charge light scale press level fill tank")

// clocks are names of time stamps.
var clocks = set("time ts at timestamp date datetime when epoch utc")

func set(words string) map[string]bool {
	out := map[string]bool{}
	for _, w := range strings.Fields(words) {
		out[w] = true
	}
	return out
}

// classed turns lists of words by what they mean into what each word means.
func classed[K ~string](lists map[K]string) map[string]K {
	out := map[string]K{}
	for class, words := range lists {
		for _, w := range strings.Fields(words) {
			out[w] = max(out[w], class) // a word of two lists: whichever, but always the same
		}
	}
	return out
}

// knows tells whether a word is one of those above.
func knows(w string) bool {
	_, measured := meanings[w]
	_, other := others[w]
	return measured || other || soils[w] || airWaters[w] || volts[w] || generals[w] || clocks[w]
}

// split cuts a path into small words without the numbers at their ends:
// soilTemp_2 is soil, temp; so is soiltemp; and mV stays mv.
func split(path string) []string {
	var out []string
	for _, run := range strings.FieldsFunc(path, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
		if w := small(run); knows(w) {
			out = append(out, w)
			continue
		}
		for _, word := range humps(run) {
			if w := small(word); w != "" {
				out = append(out, pieces(w)...)
			}
		}
	}
	return out
}

// small is a word in small letters, without accents and the number at its end.
func small(w string) string { return strings.TrimRightFunc(plain(strings.ToLower(w)), unicode.IsDigit) }

// humps cuts where a capital letter follows a small one.
func humps(run string) []string {
	var out []string
	from, before := 0, ' '
	for i, r := range run {
		if unicode.IsUpper(r) && unicode.IsLower(before) {
			out = append(out, run[from:i])
			from = i
		}
		before = r
	}
	return append(out, run[from:])
}

// plain takes the accents off.
var plain = strings.NewReplacer("ä", "a", "á", "a", "à", "a", "â", "a", "é", "e", "è", "e", "ê", "e", "í", "i", "î", "i",
	"ö", "o", "ó", "o", "ô", "o", "ü", "u", "ú", "u", "û", "u", "ñ", "n", "ç", "c", "ß", "ss").Replace

// leastPiece is the length of the words that are looked for in a longer one:
// shorter ones stand in too many by chance.
const leastPiece = 3

// longestRun bounds what is looked through: names come from outside.
const longestRun = 40

// pieces takes a word apart that is two or three known ones written together, and
// leaves any other whole.
func pieces(w string) []string {
	if knows(w) || len(w) > longestRun {
		return []string{w}
	}
	for i := len(w) - leastPiece; i >= leastPiece; i-- { // the longest beginning first
		if begin := w[:i]; knows(begin) {
			if rest := pieces(w[i:]); !slices.ContainsFunc(rest, func(r string) bool { return !knows(r) }) {
				return append([]string{begin}, rest...)
			}
		}
	}
	return []string{w}
}
