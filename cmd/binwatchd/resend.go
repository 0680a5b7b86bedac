package main

import (
	"context"
	"flag"
	"fmt"
	"log/slog"

	"binwatchd/internal/config"
	"binwatchd/internal/influx"
)

func resendCommand() command {
	c := command{name: "resend", usage: "--from T [--to T] --config FILE", does: "forwards a range of times to the database again"}
	c.run = func(ctx context.Context, args []string, io *streams) error {
		fs := flag.NewFlagSet(c.name, flag.ContinueOnError)
		path := fs.String("config", "", "configuration `FILE`")
		from := fs.String("from", "", "begin of the range, `T`")
		to := fs.String("to", "", "end of the range, `T`; none when left out")
		words, err := parse(c, fs, args, io)
		if err != nil {
			return err
		}
		if err := noWords(words); err != nil {
			return err
		}
		if *from == "" {
			return misusef("--from T is needed")
		}
		cfg, err := load(*path, config.ForRun, io)
		if err != nil {
			return err
		}
		span, err := parseSpan(*from, *to, cfg.Farm.Location)
		if err != nil {
			return err
		}
		return resend(ctx, cfg, span, io)
	}
	return c
}

func resend(ctx context.Context, cfg *config.Config, span timeSpan, io *streams) error {
	if cfg.Influx == nil {
		return fmt.Errorf("there is no influx: in the configuration, so there is nowhere to send to")
	}
	ic, err := influxConfig(cfg, slog.New(slog.DiscardHandler), machineTimes())
	if err != nil {
		return err
	}
	j, err := openToRead(ctx, cfg)
	if err != nil {
		return err
	}
	defer j.Close()
	sent, err := influx.Resend(ctx, ic, cfg.Farm, influxJournal{j}, influx.Range{From: span.from, To: span.to}, func(s influx.Sent) {
		fmt.Fprintf(io.talk, "%d rows\n", s.Written)
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(io.out, "%d rows written, %d refused\n", sent.Written, sent.Refused)
	for _, p := range sent.Reasons {
		fmt.Fprintf(io.talk, "refused: %s: %s\n", p.Reason, p.Line)
	}
	return nil
}
