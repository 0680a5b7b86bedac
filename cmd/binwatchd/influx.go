package main

import (
	"context"
	"flag"
	"fmt"
	"log/slog"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
	"binwatchd/internal/ingest"
)

// troubleWait bounds how long forwarding waits for a loop that is busy.
const troubleWait = 10 * time.Second

// openInflux makes the forwarder, where a database is configured.
func (d *daemon) openInflux(_ context.Context, cfg *config.Config) error {
	if cfg.Influx == nil {
		return nil
	}
	ic, err := influxConfig(cfg, d.log, d.times())
	if err != nil {
		return err
	}
	ic.Hold = func() bool { return !d.loop.TimesFinal() }
	d.forward, err = influx.New(ic, d.farms.at, d.journal, d.trouble)
	return err
}

func influxConfig(cfg *config.Config, log *slog.Logger, times times) (influx.Config, error) {
	in := cfg.Influx
	var o opener
	tc, err := clientTLS(&ingest.ClientTLS{CA: in.CA, Cert: in.Cert, Key: in.Key})
	if err != nil {
		o.failed = append(o.failed, fmt.Errorf("influx: %w", err))
	}
	return influx.Config{TLS: tc,
		Settings: *in, Token: o.reveal("influx token", in.Token), Password: o.reveal("influx password", in.Password),
		Log: log, Now: times.now, CertTime: times.certificates,
	}, o.err()
}

// trouble has the loop note what is wrong with the machinery, which it does not
// while the journal can't be written.
func (d *daemon) trouble(t farm.Trouble) error {
	ctx, cancel := context.WithTimeout(context.Background(), troubleWait)
	defer cancel()
	err := d.loop.Act(ctx, farm.Event{Kind: farm.EventTrouble, Trouble: t})
	if err != nil {
		d.log.Warn("trouble not noted yet", "condition", t.Condition, "error", err)
	}
	return err
}

func resendWork(fs *flag.FlagSet) work {
	span := newSpanFlags(fs, "begin of the range, `T`", "end of the range, `T`; none when left out")
	wanted := func() error { return misuseIf(span.from == "", "--from T is needed") }
	return work{flags: wanted, run: func(ctx context.Context, c *call) error { return resend(ctx, c, span) }}
}

func resend(ctx context.Context, c *call, flags *spanFlags) error {
	span, err := flags.in(c.cfg.Farm.Location)
	if err != nil {
		return err
	}
	if c.cfg.Influx == nil {
		return fmt.Errorf("there is no influx: in the configuration, so there is nowhere to send to")
	}
	ic, err := influxConfig(c.cfg, slog.New(slog.DiscardHandler), machineTimes())
	if err != nil {
		return err
	}
	j, err := openToRead(ctx, c.cfg)
	if err != nil {
		return err
	}
	defer j.Close()
	sent, err := influx.Resend(ctx, ic, c.cfg.Farm, j, influx.Range{From: span.from, To: span.to}, func(s influx.Sent) {
		fmt.Fprintf(c.talk, "%d rows\n", s.Written)
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "%d rows written, %d refused\n", sent.Written, sent.Refused)
	for _, p := range sent.Reasons {
		fmt.Fprintf(c.talk, "refused: %s: %s\n", p.Reason, p.Line)
	}
	return nil
}
