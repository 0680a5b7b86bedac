package config

import (
	"cmp"
	"slices"
	"strings"

	"binwatchd/internal/farm"
)

// probeOf checks one entry of probes: and makes the probe of it. A template
// makes a probe whose texts still hold named parts.
func (b *builder) probeOf(e *entry[probeDoc]) farm.Probe {
	d := &e.v
	b.checkTopic(e)
	b.defaultUnit(d)
	p := farm.Probe{
		ID: e.name, Topic: d.topic.v, Value: d.value.v, Time: d.time.v,
		Measures: d.measures.v, Unit: d.unit.v, Every: d.every.v,
		Calibration: b.calibrationOf(d),
		Low:         b.lowOf(d),
	}
	if len(p.Calibration) > 0 {
		p.Unit = farm.RawUnit // the points say what the raw number means
	}
	if d.of.set && d.measures.set && d.measures.v != farm.Battery {
		b.problem(d.of.at, "of is for a battery; this probe measures %s", d.measures.v)
	}
	return p
}

func (b *builder) checkTopic(e *entry[probeDoc]) {
	d := &e.v
	if !d.topic.set {
		return
	}
	if why := wrongParts(e.name, d.topic.v, d.value.v); why != "" {
		b.problem(d.topic.at, "%s", why)
	}
	for _, own := range []string{"jot", "hush", "seen"} {
		begin := cmp.Or(b.doc.broker.v.prefix.v, "binwatch") + "/" + own + "/"
		if strings.HasPrefix(d.topic.v, begin) {
			b.problem(d.topic.at, "topics under %s are binwatchd's own; a probe publishes elsewhere, or broker.prefix is changed", begin)
		}
	}
}

func (b *builder) defaultUnit(d *probeDoc) {
	fitting := d.measures.v.Row().AllUnits()
	switch {
	case !d.measures.set:
		return
	case d.unit.spoilt:
		return
	case d.calibration.present():
		d.unit.or(farm.RawUnit, "by the calibration")
	default:
		d.unit.or(fitting[0], byDefault)
	}
	switch {
	case !slices.Contains(fitting, d.unit.v):
		b.problem(d.unit.at, "%s is not a unit of %s: use %s", d.unit.v, d.measures.v, enumerateUnits(fitting))
	case d.unit.v == farm.RawUnit && !d.calibration.present():
		b.problem(d.unit.at, "raw numbers mean nothing without a calibration: add calibration: [{raw: …, %s: …}, {raw: …, %s: …}]", d.measures.v, d.measures.v)
	}
}

func enumerateUnits(units []farm.Unit) string {
	words := make([]string, len(units))
	for i, u := range units {
		words[i] = string(u)
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}

// calibrationOf gives the points by rising raw number, always two or more: one
// point of a probe with a unit becomes two on a line of that unit's slope.
func (b *builder) calibrationOf(d *probeDoc) []farm.Point {
	if !d.calibration.set || !d.measures.set {
		return nil
	}
	placed := make([]val[farm.Point], 0, len(d.calibration.v))
	for _, x := range d.calibration.v {
		if v, ok := b.valueOf(x, d.measures.v); ok && x.v.raw.set {
			placed = append(placed, val[farm.Point]{v: farm.Point{Raw: x.v.raw.v, Value: v}, at: x.at})
		}
	}
	slices.SortStableFunc(placed, func(a, b val[farm.Point]) int { return cmp.Compare(a.v.Raw, b.v.Raw) })
	b.checkLine(d, placed)
	points := make([]farm.Point, len(placed))
	for i, p := range placed {
		points[i] = p.v
	}
	if unit, ok := d.measures.v.Row().Unit(d.unit.v); ok && len(points) == 1 {
		points = append(points, farm.Point{Raw: points[0].Raw + 100, Value: points[0].Value + 100*unit.Times/unit.Over})
	}
	return points
}

// A saidValue is one of the true values that a point could name.
type saidValue struct {
	quantity farm.Quantity
	val[float64]
}

func (p pointDoc) values() []saidValue {
	battery := val[float64]{v: p.battery.v.v, at: p.battery.at, set: p.battery.set, spoilt: p.battery.spoilt}
	said := []saidValue{{farm.Temperature, p.temperature}, {farm.Moisture, p.moisture}, {farm.Battery, battery}}
	for _, q := range farm.QuantityNames() {
		if x := p.others[q]; x != nil {
			said = append(said, saidValue{q, *x})
		}
	}
	return said
}

// valueOf is the true value of a point, which must be of what the probe
// measures.
func (b *builder) valueOf(x val[pointDoc], measures farm.Quantity) (float64, bool) {
	var found saidValue
	said := false
	for _, y := range x.v.values() {
		switch {
		case !y.present():
			continue
		case y.quantity == measures:
			found = y
		default:
			b.problem(y.at, "the probe measures %s, so its points cannot say %s", measures, y.quantity)
		}
		said = true
	}
	if !said {
		b.problem(x.at, "this point has no true value: it needs the key %s", measures)
	}
	if x.v.battery.v.unit == farm.Percent {
		b.problem(x.v.battery.at, "a battery is calibrated in volts")
	}
	return found.v, found.set
}

func (b *builder) checkLine(d *probeDoc, points []val[farm.Point]) {
	if len(points) < len(d.calibration.v) {
		return // a point was refused already
	}
	if len(points) == 1 && d.unit.v == farm.RawUnit {
		b.problem(d.calibration.at, "one point cannot tell what raw numbers mean: give two or more")
	}
	for i := 1; i < len(points); i++ {
		a, p := points[i-1], points[i]
		if a.v.Raw == p.v.Raw {
			b.problem(later(a.at, p.at), "the raw number %s is given twice", formatNumber(p.v.Raw))
			return
		}
	}
	for i := 1; i < len(points); i++ {
		rises := points[i].v.Value - points[i-1].v.Value
		if overall := points[len(points)-1].v.Value - points[0].v.Value; rises*overall <= 0 {
			b.problem(points[i].at, "the true value must keep rising, or keep falling, as raw rises: sorted by raw, this point turns back")
			return
		}
	}
}

func later(a, b place) place {
	if a.line > b.line || a.line == b.line && a.column > b.column {
		return a
	}
	return b
}

// lowOf gives the limit of a battery in V, or in % where the probe says so.
func (b *builder) lowOf(d *probeDoc) float64 {
	if !d.low.set || !d.measures.set {
		return 0
	}
	low, percent := d.low.v, d.unit.v == farm.Percent
	switch {
	case d.measures.v != farm.Battery:
		b.problem(d.low.at, "low is for a battery; this probe measures %s", d.measures.v)
	case percent && low.unit == farm.Volt:
		b.problem(d.low.at, "the battery reports %%, so low is a percentage, such as 20%%")
	case !percent && low.unit == farm.Percent:
		b.problem(d.low.at, "the battery reports a voltage, so low is one, such as 3.3 V")
	case percent && (low.v <= 0 || low.v >= 100):
		b.problem(d.low.at, "low must lie between 0%% and 100%%")
	case !percent && (low.v <= 0 || low.v > 60):
		b.problem(d.low.at, "low must lie between 0 and 60 V; a number without unit is in volts")
	}
	return low.v
}
