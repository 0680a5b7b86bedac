package survey

import (
	"regexp"
	"slices"
	"strings"
	"unicode"

	"binwatchd/internal/farm"
)

// A kind is what a word of a name tells.
type kind int

const (
	measured kind = iota // what a bin is judged by
	other                // something else
	weak                 // something else, where nothing better is said beside it
	airWater             // humidity of air, unless it is a soil's
	soil                 // what moisture is measured in; neither what is measured nor in what
	volt                 // a voltage, which may be a battery's, a moisture probe's or a socket's
	general              // nothing: of the number they name, or of where it was measured
	clock                // a time stamp
)

// A sense is what a word means: the name of a quantity, or what it is instead.
type sense struct {
	kind  kind
	means string
}

func (s sense) quantity() farm.Quantity { return farm.Quantity(s.means) }

// What else a value may be that bears the name of something measured.
const (
	wished   = "what is wished, not what is"
	bound    = "the least or greatest of several"
	ofDevice = "of the device itself"
	whoseAir = "water, and nothing says whether the soil's or the air's"
	aVoltage = "a voltage, and nothing says of what"
)

// vocabulary is what the names of values commonly mean, in the languages that
// makers of small devices use; weak words stand in brackets. Common practice, no
// source.
var vocabulary = func() map[string]sense {
	all := map[string]sense{}
	for _, row := range []struct {
		sense sense
		words string
	}{
		{sense{measured, string(farm.Temperature)}, `t temp temps tmp temperature temperatures temperatur temperatura
			celsius fahrenheit kelvin degc degf tempc tempf tempk ds18b`},
		{sense{measured, string(farm.Moisture)}, `m moist moisture sm vwc swc wetness wassergehalt bodenfeuchte
			bodenfeuchtigkeit`},
		{sense{measured, string(farm.Battery)}, `b bat batt battery batteries batterie akku accu bateria vbat vbatt
			batv battv vcc`},
		{sense{measured, string(farm.Weight)}, `weight mass kg kilo kilos kilogram gram grams lb lbs pound pounds ounce ounces
			oz gewicht poids peso`},
		{sense{measured, string(farm.CO2)}, "co2 dioxide kohlendioxid"},
		{sense{measured, string(farm.PH)}, "ph acidity"},
		{sense{measured, string(farm.Conductivity)}, "ec conductivity leitfahigkeit conductivite conductividad"},
		{sense{soil, ""}, "soil soils ground boden erde sol suelo tierra terreno substrate substrat compost kompost castings"},
		{sense{airWater, string(farm.Humidity)}, `h hum humid humidity rh feuchte feuchtigkeit humidite humedad umidita luftfeuchte
			luftfeuchtigkeit`},
		{sense{volt, aVoltage}, "v mv volt volts voltage millivolt millivolts spannung tension"},
		{sense{general, ""}, `value val values reading readings data state result measurement measure sensor sensors
			probe probes raw adc analog level avg average mean now last ppm µs us ms pct percent percentage c f k water content payload
			decoded object fields uplink message msg channel ch node device dev id index no nr luft raum aire ambiente
			ambiant aussen innen interieur exterieur air room ambient outside outdoor indoor bed beds bin bins tray trays
			rack box crate tub zone zones near far top bottom middle left right front back inner outer upper lower
			a x y z north south east west`},
		{sense{clock, ""}, "time ts at timestamp date datetime when epoch utc"},
		{sense{other, "the strength of a radio signal"}, "rssi snr lqi linkquality signal dbm wifi lsnr rsrp rsrq sinr (link) (quality)"},
		{sense{other, "how a radio speaks"}, "sf dr airtime frequency freq bandwidth bw hops fport (port)"},
		{sense{other, "how long a device has run"}, "uptime millis runtime boot boots resets reset reconnects restarts"},
		{sense{other, "a device's memory"}, "heap mem memory ram flash (free)"},
		{sense{other, "a counter"}, "seq sequence count counter fcnt cnt counts frames packets pulses"},
		{sense{other, "a number of a device"}, "address addr mac serial eui"},
		{sense{other, "a version"}, "version firmware fw build"},
		{sense{other, "air pressure"}, "pressure baro barometer hpa mbar kpa pa druck luftdruck pression presion (press) (p)"},
		{sense{other, "light"}, "lux illuminance illumination brightness par ppfd uv licht helligkeit lumiere luz (light)"},
		{sense{other, "a gas"}, "voc tvoc eco2 iaq gas ppb ammonia nh methane oxygen (co)"},
		{sense{other, "salt"}, "salt salinity tds nutrient nutrients fertility npk"},
		{sense{other, "a weight"}, "scales tare waage hx (load) (scale)"},
		{sense{other, "a length or a volume"}, "distance depth height mm (cm) litre litres liter liters gallon gallons volume (fill) (tank)"},
		{sense{other, "weather"}, "rain rainfall wind gust dew dewpoint taupunkt heatindex feels humidex vpd"},
		{sense{other, "electric power"}, "power watt watts energy kwh wh amp amps ampere solar charging (ma) (current) (charge)"},
		{sense{other, wished}, `set setpoint target wanted desired goal soll sollwert consigne objetivo threshold limit
			alarm hysteresis`},
		{sense{other, bound}, "min max minimum maximum lowest highest"},
		{sense{other, "not the reading itself"}, `offset correction calibration cal slope gain delta dt diff trend rate
			rise std stddev variance error err errors status age confidence flag low ok has ready enabled present (code)`},
		{sense{other, "a setting of a device"}, "interval period sleep duration delay timeout every duty pwm"},
		{sense{other, "a switch"}, "pump valve fan relay heater led motion contact tamper switch button door window alert (on) (off)"},
		{sense{other, "a place on the map"}, "lat lon lng latitude longitude altitude alt elevation"},
		{sense{other, ofDevice}, "cpu chip core mcu esp board soc internal self"},
	} {
		for _, w := range strings.Fields(row.words) {
			s := row.sense
			if w[0] == '(' {
				w, s.kind = strings.Trim(w, "()"), weak
			}
			all[w] = s
		}
	}
	for _, q := range farm.QuantityNames() {
		if _, ok := all[string(q)]; !ok {
			all[string(q)] = sense{measured, string(q)}
		}
	}
	return all
}()

func known(w string) bool { _, ok := vocabulary[w]; return ok }

func allKnown(ws []string) bool {
	return !slices.ContainsFunc(ws, func(w string) bool { return !known(w) })
}

// split cuts a path into small words without the numbers at their ends:
// soilTemp_2 is soil, temp; so is soiltemp; and mV stays mv.
func split(path string) []string {
	var out []string
	for _, run := range strings.FieldsFunc(path, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
		if w := small(run); known(w) {
			out = append(out, w)
			continue
		}
		for word := range strings.FieldsSeq(hump.ReplaceAllString(run, "$1 $2")) {
			if w := small(word); w != "" {
				out = append(out, pieces(w)...)
			}
		}
	}
	return out
}

// small is a word in small letters, without accents and without the number at
// its end, unless that is part of it.
func small(w string) string {
	if w = withoutAccents(strings.ToLower(w)); known(w) {
		return w
	}
	return strings.TrimRightFunc(w, unicode.IsDigit)
}

var withoutAccents = strings.NewReplacer("ä", "a", "á", "a", "à", "a", "â", "a", "é", "e", "è", "e", "ê", "e",
	"í", "i", "î", "i", "ö", "o", "ó", "o", "ô", "o", "ü", "u", "ú", "u", "û", "u", "ñ", "n", "ç", "c", "ß", "ss").Replace

// hump is where a capital letter follows a small one.
var hump = regexp.MustCompile(`(\p{Ll})(\p{Lu})`)

const (
	shortestPiece = 3  // shorter words stand in too many longer ones by chance
	longestRun    = 40 // letters of a word that is looked through: names come from outside
)

// pieces takes a word apart that is two or three known ones written together, and
// leaves any other whole.
func pieces(w string) []string {
	if known(w) || len(w) > longestRun {
		return []string{w}
	}
	for i := len(w) - shortestPiece; i >= shortestPiece; i-- { // the longest beginning first
		if begin := w[:i]; known(begin) {
			if rest := pieces(w[i:]); allKnown(rest) {
				return append([]string{begin}, rest...)
			}
		}
	}
	return []string{w}
}
