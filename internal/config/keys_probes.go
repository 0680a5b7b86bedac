package config

import (
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
)

func probe() codec[probeDoc] {
	return section("a probe", []field[probeDoc]{
		key("topic", "The MQTT topic it publishes to; + and # may be used, and the named parts of its name.", topic(),
			func(d *probeDoc) *val[string] { return &d.topic }).needed("glass/bed"),
		key("value", "JSON Pointer (RFC 6901) to the number; the whole payload when empty.", pointer(),
			func(d *probeDoc) *val[string] { return &d.value }).defaults(`""`),
		key("time", "JSON Pointer to the probe's own time stamp (RFC 3339, or seconds or milliseconds since 1970); the time of arrival when left out.", pointer(),
			func(d *probeDoc) *val[string] { return &d.time }),
		key("measures", "What the number is.", word("a quantity", farm.QuantityNames()),
			func(d *probeDoc) *val[farm.Quantity] { return &d.measures }).needed("temperature"),
		key("unit", "Of the number: "+unitsSaid()+"; raw with a calibration. The first of them when left out.",
			word("a unit", allUnits()),
			func(d *probeDoc) *val[farm.Unit] { return &d.unit }),
		key("every", "How often it is meant to speak; three times that without a word counts as silent. It is judged at the pace that is heard.", duration(time.Second, 7*day),
			func(d *probeDoc) *val[time.Duration] { return &d.every }).defaults("10m"),
		key("calibration", "Raw numbers and the true values they stand for; straight lines between and beyond. One point moves a probe that has a unit.",
			list("a list of points, such as [{raw: 2850, moisture: 12%}, {raw: 1420, moisture: 84%}]", point()),
			func(d *probeDoc) *val[[]val[pointDoc]] { return &d.calibration }),
		key("low", "Of a battery: under this it is low.", batteryLevel(),
			func(d *probeDoc) *val[level] { return &d.low }),
		key("of", "Of a battery: the probes that run on it.", oneOrMore("a list of probes", text("the name of a probe", "crate-t")),
			func(d *probeDoc) *val[[]val[string]] { return &d.of }),
	})
}

// unitsSaid lists the units of every quantity: "C or F for temperature".
func unitsSaid() string {
	var said []string
	for i := range farm.Quantities {
		all := farm.Quantities[i].AllUnits()
		if units := all[:len(all)-1]; len(units) > 1 { // without raw
			said = append(said, enumerateUnits(units)+" for "+farm.Quantities[i].Noun)
		}
	}
	return strings.Join(said, ", ")
}

// allUnits lists every unit of any quantity once, raw last.
func allUnits() []farm.Unit {
	var all []farm.Unit
	for i := range farm.Quantities {
		for _, u := range farm.Quantities[i].AllUnits() {
			if u != farm.RawUnit && !slices.Contains(all, u) {
				all = append(all, u)
			}
		}
	}
	return append(all, farm.RawUnit)
}

func point() codec[pointDoc] {
	fields := []field[pointDoc]{
		key("raw", "The number as it arrives.", number("a number"),
			func(d *pointDoc) *val[float64] { return &d.raw }).needed("2850"),
		key("temperature", "The true temperature.", temperature(),
			func(d *pointDoc) *val[float64] { return &d.temperature }),
		key("moisture", "The true moisture, by fresh mass.", percent(),
			func(d *pointDoc) *val[float64] { return &d.moisture }),
		key("battery", "The true voltage or charge.", batteryLevel(),
			func(d *pointDoc) *val[level] { return &d.battery }),
	}
	for i := range farm.Quantities {
		if row := &farm.Quantities[i]; row.Limits {
			fields = append(fields, key(string(row.Name), "The true "+row.Noun+".", valueOf(row),
				func(d *pointDoc) *val[float64] { return d.others.at(row.Name) }))
		}
	}
	return small(section("a calibration point", fields))
}

func topic() codec[string] {
	return checked(text("a topic", "glass/bed"), wrongFilter)
}

func pointer() codec[string] {
	return scalar("a JSON Pointer", "/soil", parsePointer, asIs)
}
