package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"strings"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/control"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/quantity"
)

func hushCommand() command {
	c := command{name: "hush", usage: "BIN[/ZONE] [CONDITION] --for 2h --config FILE", does: "keeps quiet about a bin or one of its conditions for a while"}
	c.run = func(ctx context.Context, args []string, io *streams) error {
		fs := flag.NewFlagSet(c.name, flag.ContinueOnError)
		path := fs.String("config", "", "configuration `FILE`")
		long := fs.String("for", "", "how `LONG`: 2h, 3d")
		words, err := parse(c, fs, args, io)
		if err != nil {
			return err
		}
		if len(words) < 1 || *long == "" {
			return misusef("wants a bin and for how long, as in: hush bed --for 2h")
		}
		d, err := quantity.ParseDuration(*long)
		if err != nil {
			return misuse{err.Error()}
		}
		cfg, err := load(*path, config.ForRun, io)
		if err != nil {
			return err
		}
		now := machineTimes().now()
		h := farm.Hush{Until: now.Add(d).UTC().Truncate(time.Millisecond)}
		place, rest, err := cfg.Farm.FindPlaceIn(words)
		switch {
		case err != nil:
			return err
		case len(rest) > 1:
			return misusef("takes one condition after the bin, not %q", strings.Join(rest, " "))
		case len(rest) == 1:
			h.Condition = farm.Condition(rest[0])
		}
		h.Bin, h.Zone = place.Bin, place.Zone
		if err := ingest.CheckHush(&cfg.Farm, h, now); err != nil {
			return err
		}
		until := h.Until
		h.Until, h.For = time.Time{}, d // by the daemon's clock, which may know better
		if err := act(ctx, cfg, *path, control.Action{Hush: &h}); err != nil {
			return err
		}
		fmt.Fprintf(io.out, "quiet about %s until %s\n", strings.Join(words, " "), farm.SayTime(until, now, cfg.Farm.Location))
		return nil
	}
	return c
}

func seenCommand() command {
	c := command{name: "seen", usage: "ID --config FILE", does: "says that you know of a raised condition; now shows the ids"}
	c.run = func(ctx context.Context, args []string, io *streams) error {
		fs := flag.NewFlagSet(c.name, flag.ContinueOnError)
		cfg, words, err := configured(c, fs, args, oneWord("wants the id of one condition"), io)
		if err != nil {
			return err
		}
		path := fs.Lookup("config").Value.String()
		v, err := view(ctx, cfg)
		if err != nil {
			return err
		}
		for _, s := range v.Standing {
			if s.Episode == words[0] {
				if err := act(ctx, cfg, path, control.Action{Seen: &farm.Seen{Episode: words[0]}}); err != nil {
					return err
				}
				fmt.Fprintln(io.out, "seen:", s.Text)
				return nil
			}
		}
		return fmt.Errorf("nothing is raised under %q; binwatchd now --config %s shows the ids", words[0], path)
	}
	return c
}

// act has the running daemon note something.
func act(ctx context.Context, cfg *config.Config, path string, a control.Action) error {
	err := control.NewClient(cfg.Control).Act(ctx, a)
	if errors.Is(err, control.ErrNoDaemon) {
		return fmt.Errorf("no daemon is running, so there is nobody to tell; start it with: binwatchd run --config %s", path)
	}
	return err
}
