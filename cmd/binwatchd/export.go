package main

import (
	"bufio"
	"cmp"
	"context"
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
)

// What can be exported, and how it is written.
var (
	exported      = []string{"readings", "conditions", "logbook", "names"}
	exportFormats = []string{"csv", "json", "lines"}
)

func exportWork(fs *flag.FlagSet) work {
	span := newSpanFlags(fs, "leave out what was before `T`", "leave out what was at `T` or later")
	what := fs.String("what", "readings", strings.Join(exported, ", "))
	format := fs.String("format", "csv", "csv, json (an object a line) or lines (of InfluxDB)")
	wanted := func() error {
		return cmp.Or(
			misuseIf(!slices.Contains(exported, *what), fmt.Sprintf("--what is %s, not %q", strings.Join(exported, ", "), *what)),
			misuseIf(!slices.Contains(exportFormats, *format), fmt.Sprintf("--format is %s, not %q", strings.Join(exportFormats, ", "), *format)),
			misuseIf(*what == "names" && *format == "lines", "names are no points of a database: --format is csv or json"),
		)
	}
	return work{flags: wanted, run: func(ctx context.Context, c *call) error { return export(ctx, c, span, *what, *format) }}
}

func export(ctx context.Context, c *call, flags *spanFlags, what, format string) error {
	span, err := flags.in(c.cfg.Farm.Location)
	if err != nil {
		return err
	}
	j, err := openToRead(ctx, c.cfg)
	if err != nil {
		return err
	}
	defer j.Close()
	if span.to.IsZero() {
		span.to = time.Now().AddDate(100, 0, 0)
	}
	out := bufio.NewWriterSize(c.out, 64<<10)
	write := newExporter(out, c.cfg, what, format)
	n := 0
	switch what {
	case "readings":
		err = j.Readings(ctx, span.from, span.to, func(e farm.Event) error { n++; return write.reading(e) })
	case "names":
		var all []farm.Called
		all, err = j.Called(ctx)
		for _, c := range all {
			if during := (c.Until.IsZero() || c.Until.After(span.from)) && c.Since.Before(span.to); err == nil && during {
				n++
				err = write.name(c)
			}
		}
	default:
		var past farm.Stretch
		past, err = j.Past(ctx, span.from, span.to)
		for _, e := range past.Events {
			if what == "logbook" && err == nil {
				n++
				err = write.jot(e.Jot, past.Alike[e.Seq])
			}
		}
		for _, change := range past.Changes {
			if what == "conditions" && err == nil {
				n++
				err = write.change(change)
			}
		}
	}
	if err == nil {
		err = cmp.Or(write.flush(), out.Flush())
	}
	if err != nil {
		return fmt.Errorf("export: %w", err)
	}
	fmt.Fprintf(c.talk, "%d %s\n", n, map[string]string{"readings": "readings", "conditions": "changes of conditions", "logbook": "jots", "names": "names"}[what])
	return nil
}

// An exporter writes records in one format.
type exporter struct {
	reading func(farm.Event) error
	change  func(farm.Change) error
	jot     func(j farm.Jot, before int) error // before: how many like it, see [farm.Stretch]
	name    func(farm.Called) error
	flush   func() error
}

func newExporter(w io.Writer, cfg *config.Config, what, format string) exporter {
	switch format {
	case "json":
		return objects(w, &cfg.Farm)
	case "lines":
		return lines(w, cfg)
	}
	return tables(w, &cfg.Farm, what)
}

// A readingRow is a reading as it is exported. One that is doubted has no value, so
// that nobody takes it for one.
type readingRow struct {
	Time     string   `json:"time"`
	Arrived  string   `json:"arrived"`
	Probe    string   `json:"probe"`
	Bin      string   `json:"bin,omitempty"`
	Zone     string   `json:"zone,omitempty"`
	Measures string   `json:"measures,omitempty"`
	Raw      *float64 `json:"raw,omitempty"`
	Value    *float64 `json:"value,omitempty"`
	Unit     string   `json:"unit,omitempty"` // of the value
	Doubt    string   `json:"doubt,omitempty"`
	Flags    []string `json:"flags,omitempty"`
}

// readingRows makes rows of readings; a probe that is gone has neither place nor unit.
func readingRows(f *farm.Farm) func(farm.Event) readingRow {
	seats := map[string]readingRow{}
	for _, p := range f.Probes {
		at := f.ZoneOf(p.ID)
		seats[p.ID] = readingRow{Bin: at.Bin, Zone: at.Zone, Measures: string(p.Measures), Unit: string(p.Row().Units[0].Unit)}
	}
	return func(e farm.Event) readingRow {
		r, row := e.Reading, seats[e.Reading.Probe]
		if at := e.Elsewhere; at != nil {
			row.Bin, row.Zone = at.Bin, at.Zone
		}
		row.Time, row.Arrived, row.Probe = stamp(r.At), stamp(e.Arrived), r.Probe
		row.Doubt, row.Flags = r.Doubt.String(), r.Flags()
		if farm.Finite(r.Raw) {
			row.Raw = &r.Raw
		}
		if r.Believed() && farm.Finite(r.Value) {
			row.Value = &r.Value
		}
		return row
	}
}

// tables writes a table with a header, in the form of RFC 4180.
func tables(w io.Writer, f *farm.Farm, what string) exporter {
	out, row := csv.NewWriter(w), readingRows(f)
	heads := map[string]string{
		"readings":   "time,arrived,probe,bin,zone,measures,raw,value,unit,doubt,flags",
		"conditions": "time,bin,zone,probe,condition,quantity,change,urgency,since,crosses,earliest,latest,water_litres,episode,text",
		"logbook":    "time,bin,zone,what,kg,litres,of,to,by,flags,text",
		"names":      "kind,id,name,stood_in,topic,calibration,since,until",
	}
	head := out.Write(strings.Split(heads[what], ","))
	return exporter{
		reading: func(e farm.Event) error {
			r := row(e)
			return out.Write([]string{r.Time, r.Arrived, r.Probe, r.Bin, r.Zone, r.Measures, decimal(r.Raw), decimal(r.Value), r.Unit, r.Doubt, strings.Join(r.Flags, "; ")})
		},
		change: func(c farm.Change) error {
			var f farm.Forecast
			if c.Forecast != nil {
				f = *c.Forecast
			}
			water := ""
			if c.Advice != nil {
				water = amount(c.Advice.WaterLitres)
			}
			return out.Write([]string{stamp(c.At), c.Bin, c.Zone, c.Probe, string(c.Condition), string(c.Quantity), string(c.Change), c.Urgency.String(),
				stamp(c.Since), stamp(f.Crosses), stamp(f.Earliest), stamp(f.Latest), water, c.Episode, c.Text})
		},
		jot: func(j farm.Jot, _ int) error {
			unsure := ""
			if j.Uncertain {
				unsure = "time uncertain"
			}
			text := j.Spelled(func(v float64) string { return decimal(&v) })
			return out.Write([]string{stamp(j.At), j.Bin, j.Zone, string(j.What), amount(j.Kg), amount(j.Litres), j.Of, j.To, j.By, unsure, text})
		},
		name: func(c farm.Called) error {
			return out.Write([]string{c.Kind, strconv.FormatInt(c.ID, 10), c.Name, c.Seat, c.Topic, c.Calibration, stamp(c.Since), stamp(c.Until)})
		},
		flush: func() error { out.Flush(); return cmp.Or(head, out.Error()) },
	}
}

// objects writes an object of JSON a line: a condition as a webhook has it.
func objects(w io.Writer, f *farm.Farm) exporter {
	out, row := json.NewEncoder(w), readingRows(f)
	out.SetEscapeHTML(false)
	return exporter{
		reading: func(e farm.Event) error { return out.Encode(row(e)) },
		change:  func(c farm.Change) error { return out.Encode(c) },
		jot:     func(j farm.Jot, _ int) error { return out.Encode(j) },
		name:    func(c farm.Called) error { return out.Encode(c) },
		flush:   func() error { return nil },
	}
}

// lines writes what the forwarder would send.
func lines(w io.Writer, cfg *config.Config) exporter {
	var measurement string
	if cfg.Influx != nil {
		measurement = cfg.Influx.Measurement
	}
	l := influx.NewLines(cfg.Farm, measurement)
	var line []byte
	put := func(b []byte) error {
		line = b[:0]
		_, err := w.Write(b)
		return err
	}
	return exporter{
		reading: func(e farm.Event) error { return put(l.AppendReading(line, e.Reading, e.Elsewhere)) },
		change:  func(c farm.Change) error { return put(l.AppendChange(line, c)) },
		jot:     func(j farm.Jot, before int) error { return put(l.AppendJot(line, j, before)) },
		flush:   func() error { return nil },
	}
}

// stamp writes a time; the zero time is nothing.
func stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339Nano)
}

// decimal writes a number, where there is one.
func decimal(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}

// amount writes a number; zero is nothing.
func amount(v float64) string {
	if v == 0 {
		return ""
	}
	return decimal(&v)
}
