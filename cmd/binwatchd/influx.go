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
)

// troubleWait bounds how long forwarding waits for a loop that is busy.
const troubleWait = 10 * time.Second

// openInflux makes the forwarder, where a database is configured.
func (d *daemon) openInflux(cfg *config.Config) error {
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
	token, err := revealed(in.Token)
	if err != nil {
		return influx.Config{}, fmt.Errorf("influx token: %w", err)
	}
	password, err := revealed(in.Password)
	if err != nil {
		return influx.Config{}, fmt.Errorf("influx password: %w", err)
	}
	return influx.Config{Settings: *in, Token: token, Password: password, Log: log, Now: times.now, CertTime: times.certificates}, nil
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

func resendCommand() command {
	return command{
		name: "resend", usage: "--from T [--to T] --config FILE", does: "forwards a range of times to the database again", load: forRun,
		setup: func(fs *flag.FlagSet) work {
			from := fs.String("from", "", "begin of the range, `T`")
			to := fs.String("to", "", "end of the range, `T`; none when left out")
			wanted := func(words []string) error {
				if len(words) == 0 && *from == "" {
					return misusef("--from T is needed")
				}
				return noWords(words)
			}
			return work{wanted, func(ctx context.Context, c *call) error {
				span, err := parseSpan(*from, *to, c.cfg.Farm.Location)
				if err != nil {
					return err
				}
				return resend(ctx, c.cfg, span, c.streams)
			}}
		},
	}
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
	sent, err := influx.Resend(ctx, ic, cfg.Farm, j, influx.Range{From: span.from, To: span.to}, func(s influx.Sent) {
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
