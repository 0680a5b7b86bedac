package influx

import (
	"cmp"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"binwatchd/internal/farm"
	"binwatchd/internal/husbandry"
)

// The measurements that are written.
const (
	Levels = "bin_levels" // readings, unless the keeper names it otherwise
	Marks  = "bin_marks"  // changes of conditions, and jots
)

// Lines writes the farm's records in InfluxDB's line protocol, a line each,
// with times in milliseconds. It is not changed after [NewLines].
type Lines struct {
	farm   string
	levels string            // the measurement of readings
	rooms  map[string]string // bin → the room it stands in, where one is given
	probes map[string]probe
}

// A probe is what is known beforehand of a probe's points.
type probe struct {
	head   string // measurement and tags
	field  string // of the calibrated value; "" for a probe that is gone
	limits string // what its zone is held to, as fields after the value
}

// NewLines prepares the tags of every probe of the farm. Readings go into the given
// measurement; "" is [Levels].
func NewLines(f farm.Farm, measurement string) *Lines {
	l := &Lines{farm: f.Name, levels: cmp.Or(measurement, Levels), rooms: map[string]string{}, probes: make(map[string]probe, len(f.Probes))}
	for _, b := range f.Bins {
		l.rooms[b.Name] = b.Room
	}
	for _, p := range f.Probes {
		at := f.ZoneOf(p.ID)
		l.probes[p.ID] = probe{
			l.climateHead(at.Bin, at.Zone, p.ID, cmp.Or(l.rooms[at.Bin], f.AirOf(p.ID))), p.Row().Field, limitFields(&f, at, p),
		}
	}
	return l
}

// limitFields are the fields of what a probe's zone is held to: ",temperature_c_thrive_low=15"
// and so on; "" where it is held to nothing.
func limitFields(f *farm.Farm, at farm.Place, p farm.Probe) string {
	row := row{sep: ','}
	both := func(band string, b farm.Band) {
		row.number(p.Row().Field+"_"+band+"_low", b.Low)
		row.number(p.Row().Field+"_"+band+"_high", b.High)
	}
	for _, b := range f.Bins {
		z, ok := b.ZoneByName(at.Zone)
		if b.Name != at.Bin || !ok {
			continue
		}
		bands := map[farm.Quantity]farm.Bands{}
		bands[farm.Temperature], bands[farm.Moisture] = husbandry.ShownBands(f, b, z)
		if own := bands[p.Measures]; !own.IsZero() {
			both("thrive", own.Thrive)
			both("survive", own.Survive)
		}
		if own, ok := z.Limits[p.Measures]; ok {
			both("limits", own)
		}
	}
	return string(row.line)
}

func (l *Lines) climateHead(bin, zone, probe, room string) string {
	return string(appendHead(nil, l.levels, "bin", bin, "farm", l.farm, "place", room, "probe", probe, "zone", zone))
}

// linesByFarm keeps the lines of the farm that was in force last.
type linesByFarm struct {
	farmAt      func(seq int64) *farm.Farm
	measurement string     // of readings
	of          *farm.Farm // of lines
	lines       *Lines
}

// at gives the lines of the farm that an event was noted under.
func (l *linesByFarm) at(seq int64) *Lines {
	if f := l.farmAt(seq); f != l.of {
		l.of, l.lines = f, NewLines(*f, l.measurement)
	}
	return l.lines
}

// AppendReading appends the line of a reading, with its newline. One that was measured
// elsewhere than its probe stands, see [farm.Event], is of there and held to nothing.
func (l *Lines) AppendReading(dst []byte, r farm.Reading, elsewhere *farm.Place) []byte {
	p, ok := l.probes[r.Probe]
	switch at := elsewhere; {
	case at != nil:
		p.head, p.limits = l.climateHead(at.Bin, at.Zone, r.Probe, l.rooms[at.Bin]), ""
	case !ok: // taken out of the configuration since
		p.head = l.climateHead("", "", r.Probe, "")
	}
	row := row{line: append(dst, p.head...), sep: ' '}
	if p.field != "" && r.Believed() {
		row.number(p.field, r.Value)
		if row.sep == ',' {
			row.line = append(row.line, p.limits...)
		}
	}
	row.number("raw", r.Raw)
	if r.Uncertain || r.Retained {
		row.key("time_uncertain", "true")
	}
	switch {
	case !r.Believed():
		row.text("doubt", r.Doubt.String())
	case row.sep == ' ': // a line needs a field
		row.text("doubt", farm.NotANumber.String())
	}
	return row.end(r.At)
}

// AppendStock appends the line of what a tub holds from a moment on, with its newline.
func (l *Lines) AppendStock(dst []byte, s farm.Stock, at time.Time) []byte {
	row := row{line: append(dst, l.climateHead(s.Bin, s.Zone, "", l.rooms[s.Bin])...), sep: ' '}
	row.number("castings_litres", s.Litres)
	return row.end(at)
}

// AppendChange appends the line of a change of a condition, with its newline.
func (l *Lines) AppendChange(dst []byte, c farm.Change) []byte {
	row := row{line: appendHead(dst, Marks, "bin", c.Bin, "change", string(c.Change), "condition", string(c.Condition),
		"farm", l.farm, "place", l.rooms[c.Bin], "probe", c.Probe, "quantity", string(c.Quantity), "urgency", c.Urgency.String(), "zone", c.Zone), sep: ' '}
	raised, standing := 1.0, float64(c.Urgency)
	if c.Change == farm.Eased {
		raised, standing = 0, 0
	}
	row.number("raised", raised)
	row.number("standing", standing)
	if !c.Since.IsZero() {
		row.number("lasted_h", c.At.Sub(c.Since).Hours())
	}
	if f := c.Forecast; f != nil {
		for _, when := range []struct {
			field string
			at    time.Time
		}{{"crosses_h", f.Crosses}, {"earliest_h", f.Earliest}, {"latest_h", f.Latest}} {
			if !when.at.IsZero() {
				row.number(when.field, when.at.Sub(c.At).Hours())
			}
		}
	}
	row.text("text", c.Text)
	row.text("episode", c.Episode)
	return row.end(c.At)
}

// AppendJot appends the line of a jot, with its newline; before is how many like it
// were noted of the same instant, see [farm.Stretch].
func (l *Lines) AppendJot(dst []byte, j farm.Jot, before int) []byte {
	return l.appendJot(dst, j, before, false)
}

// AppendStrike appends the line that takes a jot's point back: the same point, with
// nothing counted of it.
func (l *Lines) AppendStrike(dst []byte, j farm.Jot, before int) []byte {
	return l.appendJot(dst, j, before, true)
}

func (l *Lines) appendJot(dst []byte, j farm.Jot, before int, struck bool) []byte {
	again := ""
	if before > 0 {
		again = strconv.Itoa(before)
	}
	row := row{line: appendHead(dst, Marks, "again", again, "bin", j.Bin, "farm", l.farm, "jot", string(j.What),
		"place", l.rooms[j.Bin], "to", j.To, "zone", j.Zone), sep: ' '}
	counts, said := 1.0, j.Spelled(number)
	if struck {
		counts, said = 0, "struck: "+said
	}
	row.number("jots", counts)
	if j.Kg != 0 {
		row.number("kg", counts*j.Kg)
	}
	if j.Litres != 0 {
		row.number("litres", counts*j.Litres)
	}
	row.text("text", said)
	if j.Of != "" {
		row.text("of", j.Of)
	}
	if j.By != "" {
		row.text("by", j.By)
	}
	return row.end(j.At)
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// appendHead appends a measurement and its tags, by rising key as the server likes it
// best. A tag with an empty value would make another series, so it is left out.
func appendHead(dst []byte, measurement string, tags ...string) []byte {
	dst = appendName(dst, measurement, ", ")
	for i := 0; i < len(tags); i += 2 {
		if tags[i+1] == "" {
			continue
		}
		dst = append(append(append(dst, ','), tags[i]...), '=')
		dst = appendName(dst, tags[i+1], ", =")
	}
	return dst
}

// appendName appends a measurement or the value of a tag. A backslash at its end
// would escape what follows.
func appendName(dst []byte, name, special string) []byte {
	dst = appendEscaped(dst, name, special)
	for k := len(dst) - 1; dst[k] == '\\'; k-- {
		dst[k] = '/'
	}
	return dst
}

// appendEscaped appends text in which the given characters have a backslash before
// them.
func appendEscaped(dst []byte, text, special string) []byte {
	for _, r := range plain(text) {
		if strings.ContainsRune(special, r) {
			dst = append(dst, '\\')
		}
		dst = utf8.AppendRune(dst, r)
	}
	return dst
}

// A row is a line in the making.
type row struct {
	line []byte
	sep  byte // before the next field: a space before the first
}

func (r *row) key(name, value string) {
	r.line = append(append(append(r.line, r.sep), name...), '=')
	r.line = append(r.line, value...)
	r.sep = ','
}

// number leaves out what the server cannot take: one NaN fails a whole request.
func (r *row) number(name string, v float64) {
	if farm.Finite(v) {
		r.key(name, "")
		r.line = strconv.AppendFloat(r.line, v, 'g', -1, 64)
	}
}

func (r *row) text(name, v string) {
	r.key(name, `"`)
	r.line = append(appendEscaped(r.line, v, `"\`), '"')
}

func (r *row) end(at time.Time) []byte {
	return append(strconv.AppendInt(append(r.line, ' '), at.UnixMilli(), 10), '\n')
}

// plain turns what cannot stand in a line, control characters and bytes that
// are no UTF-8, into spaces and question marks.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
}
