package influx

import (
	"slices"
	"strconv"
	"time"

	"binwatchd/internal/farm"
)

// The measurements that are written.
const (
	Climate = "bin_climate" // readings
	Marks   = "bin_marks"   // changes of conditions, and jots
)

// Lines writes the farm's records in InfluxDB's line protocol, a line each,
// with times in milliseconds. It is not changed after [NewLines].
type Lines struct {
	farm   string
	probes map[string]place
}

// An edition keeps the lines of each farm that was in force.
type edition struct {
	farmAt func(seq int64) *farm.Farm
	of     *farm.Farm // of lines
	lines  *Lines
}

// at gives the lines of the farm that an event was noted under.
func (e *edition) at(seq int64) *Lines {
	if f := e.farmAt(seq); f != e.of {
		e.of, e.lines = f, NewLines(*f)
	}
	return e.lines
}

// A place is what is known beforehand of a probe's points.
type place struct {
	head  string // measurement and tags
	field string // of the calibrated value; "" for a probe that is gone
}

// NewLines prepares the tags of every probe of the farm.
func NewLines(f farm.Farm) *Lines {
	l := &Lines{farm: f.Name, probes: make(map[string]place, len(f.Probes))}
	for _, p := range f.Probes {
		bin, zone := zoneOf(&f, p.ID)
		l.probes[p.ID] = place{l.climateHead(bin, zone, p.ID), fieldOf(p)}
	}
	return l
}

// zoneOf finds the first zone that has the probe; both names are "" when none
// has it, as for the air of a room or a battery.
func zoneOf(f *farm.Farm, probe string) (bin, zone string) {
	for _, b := range f.Bins {
		for _, z := range b.Zones {
			if slices.Contains(z.Probes, probe) {
				return b.Name, z.Name
			}
		}
	}
	return "", ""
}

func fieldOf(p farm.Probe) string {
	switch p.Measures {
	case farm.Temperature:
		return "temperature_c"
	case farm.Moisture:
		return "moisture_pct"
	}
	if p.Unit == farm.Percent || p.Unit == farm.Ratio {
		return "battery_pct"
	}
	return "battery_v"
}

// climateHead has its tags sorted by key, as the server likes it best.
func (l *Lines) climateHead(bin, zone, probe string) string {
	b := appendTag([]byte(Climate), "bin", bin)
	b = appendTag(b, "farm", l.farm)
	b = appendTag(b, "probe", probe)
	return string(appendTag(b, "zone", zone))
}

// AppendReading appends the line of a reading, with its newline.
func (l *Lines) AppendReading(dst []byte, r farm.Reading) []byte {
	p, ok := l.probes[r.Probe]
	if !ok { // taken out of the configuration since
		p = place{head: l.climateHead("", "", r.Probe)}
	}
	row := newRow(dst, p.head)
	if p.field != "" && r.Believed() {
		row.float(p.field, r.Value)
	}
	row.float("raw", r.Raw)
	if r.Uncertain || r.Retained {
		row.flag("time_uncertain")
	}
	switch {
	case !r.Believed():
		row.text("doubt", r.Doubt.String())
	case row.empty: // a line needs a field
		row.text("doubt", farm.NotANumber.String())
	}
	return row.end(r.At)
}

// AppendChange appends the line of a change of a condition, with its newline.
func (l *Lines) AppendChange(dst []byte, c farm.Change) []byte {
	dst = append(dst, Marks...)
	dst = appendTag(dst, "bin", c.Bin)
	dst = appendTag(dst, "change", string(c.Change))
	dst = appendTag(dst, "condition", string(c.Condition))
	dst = appendTag(dst, "farm", l.farm)
	dst = appendTag(dst, "probe", c.Probe)
	dst = appendTag(dst, "zone", c.Zone)
	raised := 1.0
	if c.Change == farm.Eased {
		raised = 0
	}
	row := newRow(dst, "")
	row.float("raised", raised)
	row.text("urgency", c.Urgency.String())
	row.text("text", c.Text)
	row.text("episode", c.Episode)
	return row.end(c.At)
}

// AppendJot appends the line of a jot, with its newline.
func (l *Lines) AppendJot(dst []byte, j farm.Jot) []byte {
	dst = append(dst, Marks...)
	dst = appendTag(dst, "bin", j.Bin)
	dst = appendTag(dst, "farm", l.farm)
	dst = appendTag(dst, "jot", string(j.What))
	dst = appendTag(dst, "of", j.Of)
	dst = appendTag(dst, "to", j.To)
	dst = appendTag(dst, "zone", j.Zone)
	row := newRow(dst, "")
	row.float("jots", 1)
	if j.Kg != 0 {
		row.float("kg", j.Kg)
	}
	if j.Litres != 0 {
		row.float("litres", j.Litres)
	}
	row.text("text", sayJot(j))
	if j.By != "" {
		row.text("by", j.By)
	}
	return row.end(j.At)
}

// sayJot says a jot in the words of the jot command: "fed 2 kg of grain".
func sayJot(j farm.Jot) string {
	s := string(j.What)
	if j.Kg != 0 {
		s += " " + number(j.Kg) + " kg"
	}
	if j.Litres != 0 {
		s += " " + number(j.Litres) + " L"
	}
	if j.Of != "" {
		s += " of " + j.Of
	}
	if j.To != "" {
		s += " to " + j.To
	}
	return s
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// A row is a line in the making: what stands before it, and its fields so far.
type row struct {
	line  []byte
	empty bool // no field yet
}

func newRow(dst []byte, head string) row { return row{append(dst, head...), true} }

func (r *row) key(name string) {
	sep := byte(',')
	if r.empty {
		sep, r.empty = ' ', false
	}
	r.line = append(r.line, sep)
	r.line = append(r.line, name...)
	r.line = append(r.line, '=')
}

// float leaves out what the server cannot take: one NaN fails a whole request.
func (r *row) float(name string, v float64) {
	if !farm.Finite(v) {
		return
	}
	r.key(name)
	r.line = strconv.AppendFloat(r.line, v, 'g', -1, 64)
}

func (r *row) text(name, v string) { r.key(name); r.line = appendText(r.line, v) }
func (r *row) flag(name string)    { r.key(name); r.line = append(r.line, "true"...) }

func (r *row) end(at time.Time) []byte {
	r.line = append(r.line, ' ')
	r.line = strconv.AppendInt(r.line, at.UnixMilli(), 10)
	return append(r.line, '\n')
}
