package main

import (
	"bufio"
	"cmp"
	"context"
	"encoding/csv"
	"flag"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
)

func exportWork(fs *flag.FlagSet) work {
	span := newSpanFlags(fs, "leave out what was measured before `T`", "leave out what was measured at `T` or later")
	format := fs.String("format", "csv", "csv or lines")
	wanted := func() error {
		return misuseIf(*format != "csv" && *format != "lines", fmt.Sprintf("--format is csv or lines, not %q", *format))
	}
	return work{flags: wanted, run: func(ctx context.Context, c *call) error { return export(ctx, c, span, *format) }}
}

func export(ctx context.Context, c *call, flags *spanFlags, format string) error {
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
	n := 0
	readings := csvReadings
	if format == "lines" {
		readings = lineReadings
	}
	write, flush := readings(out, &c.cfg.Farm)
	err = j.Readings(ctx, span.from, span.to, func(e farm.Event) error {
		n++
		return write(e)
	})
	if err == nil {
		err = cmp.Or(flush(), out.Flush())
	}
	if err != nil {
		return fmt.Errorf("export: %w", err)
	}
	fmt.Fprintf(c.talk, "%d readings\n", n)
	return nil
}

// csvReadings writes one row a reading, with a header.
func csvReadings(w io.Writer, f *farm.Farm) (write func(farm.Event) error, flush func() error) {
	out := csv.NewWriter(w)
	head := out.Write([]string{"time", "arrived", "probe", "bin", "zone", "measures", "raw", "value", "doubt", "flags"})
	type seat struct {
		farm.Place
		measures farm.Quantity
	}
	seats := map[string]seat{}
	for _, p := range f.Probes {
		seats[p.ID] = seat{f.ZoneOf(p.ID), p.Measures}
	}
	write = func(e farm.Event) error {
		r, at := e.Reading, seats[e.Reading.Probe]
		return out.Write([]string{
			r.At.UTC().Format(time.RFC3339Nano), e.Arrived.UTC().Format(time.RFC3339Nano), r.Probe, at.Bin, at.Zone, string(at.measures),
			decimal(r.Raw), decimal(r.Value), r.Doubt.String(), strings.Join(r.Flags(), "; "),
		})
	}
	return write, func() error { out.Flush(); return cmp.Or(head, out.Error()) }
}

// decimal writes a number, or nothing for what is none.
func decimal(v float64) string {
	if !farm.Finite(v) {
		return ""
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// lineReadings writes what the forwarder would send.
func lineReadings(w io.Writer, f *farm.Farm) (write func(farm.Event) error, flush func() error) {
	lines := influx.NewLines(*f, "")
	var line []byte
	write = func(e farm.Event) error {
		line = lines.AppendReading(line[:0], e.Reading)
		_, err := w.Write(line)
		return err
	}
	return write, func() error { return nil }
}
