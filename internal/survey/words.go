package survey

import (
	"slices"
	"strings"
	"unicode"

	"binwatchd/internal/farm"
)

// What the names of values commonly mean. Common practice, no source.
var meanings = map[string]farm.Quantity{
	"t": farm.Temperature, "temp": farm.Temperature, "temps": farm.Temperature, "tmp": farm.Temperature, "temperature": farm.Temperature,
	"celsius": farm.Temperature, "fahrenheit": farm.Temperature, "degc": farm.Temperature, "degf": farm.Temperature, "tempc": farm.Temperature, "tempf": farm.Temperature, "ds18b": farm.Temperature,
	"m": farm.Moisture, "moist": farm.Moisture, "moisture": farm.Moisture, "soil": farm.Moisture, "sm": farm.Moisture, "wetness": farm.Moisture, "vwc": farm.Moisture,
	"b": farm.Battery, "bat": farm.Battery, "batt": farm.Battery, "battery": farm.Battery, "vbat": farm.Battery, "vbatt": farm.Battery, "vcc": farm.Battery, "batv": farm.Battery,
}

// others are names of values that no bin is judged by, with what they are.
var others = map[string]string{
	"h": airWater, "hum": airWater, "humidity": airWater, "rh": airWater,
	"rssi": "the strength of a radio signal", "snr": "the strength of a radio signal", "lqi": "the strength of a radio signal", "signal": "the strength of a radio signal",
	"uptime": "how long a device has run", "millis": "how long a device has run", "heap": "a device's memory",
	"seq": "a counter", "count": "a counter", "counter": "a counter", "id": "a number of a device", "channel": "a number of a device", "version": "a version",
	"pressure": "air pressure", "lux": "light", "light": "light", "co2": "a gas", "ph": "acidity", "ec": "salt",
}

const airWater = "water in air, which is not the moisture of castings"

// clocks are names of time stamps.
var clocks = map[string]bool{
	"time": true, "ts": true, "at": true, "timestamp": true, "date": true, "datetime": true, "when": true, "epoch": true, "utc": true,
}

// wordsOf are the words of a value's name, the most telling first: those of
// the pointer from its end, then those of the topic from its end.
func wordsOf(topic, pointer string) []string {
	var all []string
	for _, path := range []string{pointer, topic} {
		ws := split(path)
		for i := len(ws) - 1; i >= 0; i-- {
			all = append(all, ws[i])
		}
	}
	return all
}

// split cuts a path into small words without the numbers at their ends:
// soilTemp_2 is soil, temp.
func split(path string) []string {
	var out []string
	var word []rune
	flush := func() {
		if w := bare(strings.ToLower(string(word))); w != "" {
			out = append(out, w)
		}
		word = word[:0]
	}
	for _, r := range path {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) {
			flush()
			continue
		}
		if unicode.IsUpper(r) && len(word) > 0 && unicode.IsLower(word[len(word)-1]) {
			flush()
		}
		word = append(word, r)
	}
	flush()
	return out
}

// bare takes the number off the end of a word, unless it belongs to it.
func bare(w string) string {
	if _, whole := others[w]; whole {
		return w
	}
	return strings.TrimRightFunc(w, unicode.IsDigit)
}

// A meaning is what a name says a value is.
type meaning struct {
	measures farm.Quantity // "" when the name says nothing or something else
	word     string        // that said so
	other    string        // what it is instead
}

// meaningOf reads a name. The word nearest to the value decides; but soil
// before humidity makes it moisture.
func meaningOf(topic, pointer string) meaning {
	ws := wordsOf(topic, pointer)
	for i, w := range ws {
		if q, ok := meanings[w]; ok {
			return meaning{measures: q, word: w}
		}
		what, ok := others[w]
		if ok && what == airWater && i+1 < len(ws) && ws[i+1] == "soil" {
			return meaning{measures: farm.Moisture, word: "soil " + w}
		}
		if ok {
			return meaning{word: w, other: what}
		}
	}
	return meaning{}
}

// named tells whether one of the words nearest to the value is among some.
func (l likeness) named(some ...string) bool {
	path, topic := l.pointer, l.members[0].name
	if path == "" {
		path = topic[strings.LastIndex(topic, "/")+1:]
	}
	return slices.ContainsFunc(split(path), func(w string) bool { return slices.Contains(some, w) })
}
