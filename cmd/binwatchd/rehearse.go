package main

import (
	"bufio"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/rehearse"
)

func rehearseCommand() command {
	c := command{
		name: "rehearse", usage: "--config FILE --messages CSV [--from T] [--to T] [--json]",
		does: "runs recorded messages through a configuration and shows what it would have noticed",
	}
	c.run = func(ctx context.Context, args []string, io *streams) error {
		fs := flag.NewFlagSet(c.name, flag.ContinueOnError)
		path := fs.String("config", "", "`FILE` to rehearse")
		messages := fs.String("messages", "", "`CSV` with the header time,topic,payload; - reads standard input")
		from := fs.String("from", "", "leave out what arrived before `T`")
		to := fs.String("to", "", "leave out what arrived at `T` or later")
		asJSON := fs.Bool("json", false, "write every change as one JSON object a line")
		words, err := parse(c, fs, args, io)
		if err != nil {
			return err
		}
		if err := noWords(words); err != nil {
			return err
		}
		if *messages == "" {
			return misusef("--messages CSV is needed")
		}
		cfg, err := load(*path, config.ForRehearsal, io)
		if err != nil {
			return err
		}
		span, err := parseSpan(*from, *to, cfg.Farm.Location)
		if err != nil {
			return err
		}
		return rehearseMessages(ctx, cfg, *messages, span, *asJSON, io)
	}
	return c
}

// A timeSpan is [from, to); a zero end is open.
type timeSpan struct{ from, to time.Time }

func parseSpan(from, to string, loc *time.Location) (s timeSpan, err error) {
	if from != "" {
		if s.from, err = moment(from, loc); err != nil {
			return s, err
		}
	}
	if to != "" {
		if s.to, err = moment(to, loc); err != nil {
			return s, err
		}
	}
	return s, nil
}

func rehearseMessages(ctx context.Context, cfg *config.Config, path string, span timeSpan, asJSON bool, s *streams) error {
	in, closeIn, err := openRecording(path, s.in)
	if err != nil {
		return err
	}
	defer closeIn()
	out := bufio.NewWriterSize(s.out, 64<<10)
	write := textLine(out, cfg.Farm.Location)
	if asJSON {
		write = jsonLine(out)
	}
	r := rehearse.New(rehearse.Config{Farm: &cfg.Farm, Prefix: cfg.Broker.Prefix, From: span.from, To: span.to, On: write})
	err = r.Messages(ctx, in)
	if e := out.Flush(); err == nil && e != nil {
		err = fmt.Errorf("write changes: %w", e)
	}
	if err != nil {
		return err
	}
	fmt.Fprintln(s.talk, summary(r.Stats()))
	return nil
}

func openRecording(path string, stdin io.Reader) (io.Reader, func() error, error) {
	if path == "-" {
		return stdin, func() error { return nil }, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, fmt.Errorf("read recording: %w", err)
	}
	return bufio.NewReaderSize(f, 256<<10), f.Close, nil
}

func jsonLine(w io.Writer) func(farm.Change) {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	return func(ch farm.Change) { enc.Encode(ch) }
}

// textLine writes a change for a person: when, how urgent, what.
func textLine(w io.Writer, loc *time.Location) func(farm.Change) {
	return func(ch farm.Change) {
		fmt.Fprintf(w, "%s  %-9s %-5s %-12s %s\n", ch.At.In(loc).Format("Mon 2006-01-02 15:04"), ch.Change, ch.Urgency, ch.Condition, ch.Text)
	}
}

// summary is one line on what went through.
func summary(st rehearse.Stats) string {
	s := fmt.Sprintf("%d messages, %d readings, %d of them doubted, %d changes", st.Messages, st.Readings, st.Doubted, st.Changes)
	var refused []string
	for _, reason := range slices.Sorted(maps.Keys(st.Rejected)) {
		refused = append(refused, fmt.Sprintf("%s %d", reason, st.Rejected[reason]))
	}
	if len(refused) > 0 {
		s += "; rejected: " + strings.Join(refused, ", ")
	}
	return s
}
