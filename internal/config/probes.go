package config

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/quantity"
)

// A Probe is a probe as the file has it; one whose name has named parts stands
// for many.
type Probe struct {
	Name        string        `yaml:",name"`
	Topic       string        `yaml:"topic" kind:"a topic" need:"glass/bed" help:"The MQTT topic it publishes to; + and # may be used, and the named parts of its name."`
	Value       string        `yaml:"value" kind:"a JSON Pointer" default:"\"\"" help:"JSON Pointer (RFC 6901) to the number; the whole payload when empty."`
	Time        string        `yaml:"time" kind:"a JSON Pointer" help:"JSON Pointer to the probe's own time stamp (RFC 3339, the farm's zone where it says none, or seconds or milliseconds since 1970); the time of arrival when left out."`
	Measures    farm.Quantity `yaml:"measures" kind:"a quantity" need:"temperature" help:"What the number is."`
	Unit        farm.Unit     `yaml:"unit" kind:"a unit" help:"Of the number: {units}; raw with a calibration. The first of them when left out."`
	Every       time.Duration `yaml:"every" least:"1s" most:"7d" default:"10m" help:"How often it is meant to speak; three times that without a word counts as silent. It is judged at the pace that is heard."`
	Calibration []Point       `yaml:"calibration,flow" kind:"a calibration point" list:"a list of points, such as [{raw: 2850, moisture: 12%}, {raw: 1420, moisture: 84%}]" help:"Raw numbers and the true values they stand for; straight lines between and beyond. One point moves a probe that has a unit."`
	Low         level         `yaml:"low" help:"Of a battery: under this it is low."`
	Alive       Alive         `yaml:"alive,flow" kind:"alive" help:"Where its device says that it is there, or its last will that it is gone: ten minutes gone counts as silent."`
	Via         string        `yaml:"via" kind:"a gateway" like:"gw7" help:"The gateway, board or radio that it speaks through, by a name of your own; the named parts of its name may be used. Where all of one fall silent, that is one notice."`
	Of          []string      `yaml:"of,one" kind:"a probe" like:"crate-t" list:"a list of probes" help:"Of a battery: the probes that run on it."`
	Names       `yaml:",inline"`
}

// Alive is how a device says that it is there.
type Alive struct {
	Topic string   `yaml:"topic" kind:"a topic" need:"glass/bed/status" like:"glass/bed/status" help:"The MQTT topic of its word, without + and #; the named parts of the probe's name may be used."`
	Value string   `yaml:"value" kind:"a JSON Pointer" help:"JSON Pointer to the word in a message; the whole payload when left out, or state in an object."`
	Gone  []string `yaml:"gone,one" kind:"a word" like:"offline" list:"a list of words" help:"What says that it is gone; offline, lost, disconnected, unavailable, gone, dead, down, false and 0 when left out."`
}

// A Point is a calibration point; the true value stands under the name of what
// the probe measures.
type Point struct {
	Raw         float64             `yaml:"raw" kind:"a number" need:"2850" help:"The number as it arrives."`
	Temperature float64             `yaml:"temperature" kind:"a temperature" help:"The true temperature."`
	Moisture    float64             `yaml:"moisture" kind:"a percentage" help:"The true moisture, by fresh mass."`
	Battery     level               `yaml:"battery" help:"The true voltage or charge."`
	Others      byQuantity[float64] `yaml:",quantities" help:"The true"`
}

// probeOf checks one entry of probes: and makes the probe of it. A template
// makes a probe whose texts still hold named parts.
func (b *builder) probeOf(d *Probe) farm.Probe {
	b.checkTopic(d)
	b.defaultUnit(d)
	p := farm.Probe{
		ID: d.Name, Topic: d.Topic, Value: d.Value, Time: d.Time,
		Measures: d.Measures, Unit: d.Unit, Every: d.Every,
		Calibration: b.calibrationOf(d),
		Low:         b.lowOf(d),
		Via:         d.Via,
		Of:          d.Of,
		Alive:       farm.Alive(d.Alive),
		Named:       b.named(d.Name, &d.Names),
	}
	b.checkAlive(d)
	b.partsNamed(d, &d.Via)
	if len(p.Calibration) > 0 {
		p.Unit = farm.RawUnit // the points say what the raw number means
	}
	b.refuse(b.set(&d.Of) && b.set(&d.Measures) && d.Measures != farm.Battery, &d.Of,
		"of is for a battery; this probe measures %s", d.Measures)
	return p
}

func (b *builder) checkTopic(d *Probe) {
	if !b.set(&d.Topic) {
		return
	}
	why := wrongParts(d.Name, d.Topic, d.Value)
	b.refuse(why != "", &d.Topic, "%s", why)
	for _, own := range []string{"jot", "hush", "seen"} {
		begin := cmp.Or(b.file.Broker.Prefix, "binwatch") + "/" + own + "/"
		b.refuse(strings.HasPrefix(d.Topic, begin), &d.Topic,
			"topics under %s are binwatchd's own; a probe publishes elsewhere, or broker.prefix is changed", begin)
	}
}

// checkAlive checks where a probe's device says that it is there. Probes of one device say the same of
// it.
func (b *builder) checkAlive(d *Probe) {
	if !b.set(&d.Alive.Topic) {
		return
	}
	a := &d.Alive
	b.refuse(strings.ContainsAny(a.Topic, "+#"), &a.Topic, "%s is not one topic: here it has no + and no #", quoted(a.Topic))
	own := cmp.Or(b.file.Broker.Prefix, "binwatch") + "/"
	b.refuse(strings.HasPrefix(a.Topic, own), &a.Topic, "topics under %s are binwatchd's own", own)
	b.partsNamed(d, &a.Topic)
	for i := range b.file.Probes {
		o := &b.file.Probes[i]
		if o == d {
			break
		}
		if o.Alive.Topic == a.Topic && (o.Alive.Value != a.Value || !slices.Equal(o.Alive.Gone, a.Gone)) {
			b.problem(b.at(&a.Topic), "%s says otherwise what the words on %s mean", o.Name, a.Topic)
			break
		}
	}
}

// partsNamed checks that the named parts of a text are those of the probe's name.
func (b *builder) partsNamed(d *Probe, text *string) {
	for _, part := range partsIn(*text) {
		b.refuse(!slices.Contains(partsIn(d.Name), part), text, "the named part {%s} does not occur in the name %s", part, quoted(d.Name))
	}
}

func (b *builder) defaultUnit(d *Probe) {
	fitting := d.Measures.Row().AllUnits()
	switch {
	case !b.set(&d.Measures), b.spoilt(&d.Unit):
		return
	case b.present(&d.Calibration):
		or(b.marks, &d.Unit, farm.RawUnit, "by the calibration")
	default:
		or(b.marks, &d.Unit, fitting[0], byDefault)
	}
	switch {
	case !slices.Contains(fitting, d.Unit):
		b.problem(b.at(&d.Unit), "%s is not a unit of %s: use %s", d.Unit, d.Measures, enumerateUnits(fitting))
	case d.Unit == farm.RawUnit && !b.present(&d.Calibration):
		b.problem(b.at(&d.Unit), "raw numbers mean nothing without a calibration: add calibration: [{raw: …, %s: …}, {raw: …, %s: …}]", d.Measures, d.Measures)
	}
}

func enumerateUnits(units []farm.Unit) string {
	words := namesOf(units, func(u farm.Unit) string { return string(u) })
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}

// calibrationOf gives the points by rising raw number, always two or more: one
// point of a probe with a unit becomes two on a line of that unit's slope.
func (b *builder) calibrationOf(d *Probe) []farm.Point {
	if !b.set(&d.Calibration) || !b.set(&d.Measures) {
		return nil
	}
	placed := make([]placedPoint, 0, len(d.Calibration))
	for i := range d.Calibration {
		x := &d.Calibration[i]
		if v, ok := b.valueOf(x, d.Measures); ok && b.set(&x.Raw) {
			placed = append(placed, placedPoint{farm.Point{Raw: x.Raw, Value: v}, b.at(x)})
		}
	}
	slices.SortStableFunc(placed, func(a, b placedPoint) int { return cmp.Compare(a.Raw, b.Raw) })
	b.checkLine(d, placed)
	points := make([]farm.Point, len(placed))
	for i, p := range placed {
		points[i] = p.Point
	}
	if unit, ok := d.Measures.Row().Unit(d.Unit); ok && len(points) == 1 {
		points = append(points, farm.Point{Raw: points[0].Raw + 100, Value: points[0].Value + 100*unit.Times/unit.Over})
	}
	return points
}

// A placedPoint knows where it stands.
type placedPoint struct {
	farm.Point
	at place
}

// valueOf is the true value of a point, which must be of what the probe
// measures.
func (b *builder) valueOf(x *Point, measures farm.Quantity) (v float64, ok bool) {
	type said struct {
		quantity farm.Quantity
		key      any
		value    float64
	}
	all := []said{{farm.Temperature, &x.Temperature, x.Temperature}, {farm.Moisture, &x.Moisture, x.Moisture}, {farm.Battery, &x.Battery, x.Battery.v}}
	for _, q := range farm.QuantityNames() {
		if p := x.Others[q]; p != nil {
			all = append(all, said{q, p, *p})
		}
	}
	missing := true
	for _, y := range all {
		switch {
		case !b.present(y.key):
			continue
		case y.quantity == measures:
			v, ok = y.value, b.set(y.key)
		default:
			b.problem(b.at(y.key), "the probe measures %s, so its points cannot say %s", measures, y.quantity)
		}
		missing = false
	}
	b.refuse(missing, x, "this point has no true value: it needs the key %s", measures)
	b.refuse(x.Battery.unit == farm.Percent, &x.Battery, "a battery is calibrated in volts")
	return v, ok
}

func (b *builder) checkLine(d *Probe, points []placedPoint) {
	if len(points) < len(d.Calibration) {
		return // a point was refused already
	}
	b.refuse(len(points) == 1 && d.Unit == farm.RawUnit, &d.Calibration, "one point cannot tell what raw numbers mean: give two or more")
	for i := 1; i < len(points); i++ {
		if p := points[i]; points[i-1].Raw == p.Raw { // equal ones are in the order of the file
			b.problem(p.at, "the raw number %s is given twice", formatNumber(p.Raw))
			return
		}
	}
	for i := 1; i < len(points); i++ {
		rises := points[i].Value - points[i-1].Value
		if overall := points[len(points)-1].Value - points[0].Value; rises*overall <= 0 {
			b.problem(points[i].at, "the true value must keep rising, or keep falling, as raw rises: sorted by raw, this point turns back")
			return
		}
	}
}

// lowOf gives the limit of a battery in V, or in % where the probe says so.
func (b *builder) lowOf(d *Probe) float64 {
	if !b.set(&d.Low) || !b.set(&d.Measures) {
		return 0
	}
	low, percent := d.Low, d.Unit == farm.Percent
	switch {
	case d.Measures != farm.Battery:
		b.problem(b.at(&d.Low), "low is for a battery; this probe measures %s", d.Measures)
	case percent && low.unit == farm.Volt:
		b.problem(b.at(&d.Low), "the battery reports %%, so low is a percentage, such as 20%%")
	case !percent && low.unit == farm.Percent:
		b.problem(b.at(&d.Low), "the battery reports a voltage, so low is one, such as 3.3 V")
	case percent && (low.v <= 0 || low.v >= 100):
		b.problem(b.at(&d.Low), "low must lie between 0%% and 100%%")
	case !percent && (low.v <= 0 || low.v > 60):
		b.problem(b.at(&d.Low), "low must lie between 0 and 60 V; a number without unit is in volts")
	}
	return low.v
}

func (b *builder) checkOf(s *source) {
	for i := range s.doc.Of {
		of := &s.doc.Of[i]
		b.refuse(*of == s.doc.Name, of, "a battery cannot run on itself")
		b.partsNamed(s.doc, of)
	}
}

// noteIdle tells of a probe that nothing uses: it may be meant so, or be a
// name left behind.
func (b *builder) noteIdle(s *source, placed map[string]farm.Place) {
	if s.isTemplate() {
		if len(s.bound) == 0 {
			b.note(b.at(s.doc), "no bin refers to a probe named like %s, so there is none", s.doc.Name)
		}
		b.noteOddOne(s)
		return
	}
	_, stands := placed[s.doc.Name]
	ambient := slices.ContainsFunc(b.farm.Bins, func(bin farm.Bin) bool { return bin.Ambient == s.doc.Name }) ||
		slices.ContainsFunc(b.farm.Rooms, func(room farm.Room) bool { return room.Air == s.doc.Name })
	if !stands && !ambient && s.proto.Measures != farm.Battery {
		b.note(b.at(s.doc), "the probe %s is in no zone: its readings are kept, but judge nothing", s.doc.Name)
	}
}

// The paces up to which what comes is foretold in time, as seen on simulated
// bins: a feed may carry a bin past its limit within a day, drying takes weeks.
const (
	heatingPace = 2 * time.Hour
	dryingPace  = 24 * time.Hour
)

// notePace tells what a probe speaks too seldom to foretell.
func (b *builder) notePace(s *source, placed map[string]farm.Place) {
	every, at := s.doc.Every, b.at(&s.doc.Every)
	switch q := s.proto.Measures; {
	case q == farm.Temperature && every > heatingPace && b.standsIn(s, placed, farm.Living):
		b.note(at, "a thermometer that speaks every %s can't foretell heating in time, only tell of it: every %s would do", quantity.FormatDuration(every), quantity.FormatDuration(heatingPace))
	case q == farm.Moisture && every > dryingPace && b.standsIn(s, placed, farm.Aims...):
		b.note(at, "a probe that speaks every %s can't foretell drying or the time to sift: every %s would do", quantity.FormatDuration(every), quantity.FormatDuration(dryingPace))
	}
}

// standsIn tells whether a probe of the entry stands in a zone of one of these
// aims.
func (b *builder) standsIn(s *source, placed map[string]farm.Place, aims ...farm.Aim) bool {
	return slices.ContainsFunc(s.probes(), func(p farm.Probe) bool {
		bin, _ := b.farm.BinByName(placed[p.ID].Bin)
		zone, found := bin.ZoneByName(placed[p.ID].Zone)
		return found && slices.Contains(aims, zone.Aim)
	})
}
