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
	"binwatchd/internal/journal"
	"binwatchd/internal/notify"
	"binwatchd/internal/quantity"
	"binwatchd/internal/watch"
)

func jotCommand() command {
	c := command{
		name: "jot", usage: "BIN[/ZONE] WHAT [AMOUNT] [of KIND] [to BIN] [--at TIME] --config FILE",
		does: "adds a line to the logbook: jot bed/near fed 2 kg of grain",
	}
	c.run = func(ctx context.Context, args []string, io *streams) error {
		fs := flag.NewFlagSet(c.name, flag.ContinueOnError)
		path := fs.String("config", "", "configuration `FILE`")
		at := fs.String("at", "", "`TIME` at which it was done; now when left out")
		words, err := parse(c, fs, args, io)
		if err != nil {
			return err
		}
		j, err := parseJot(words)
		if err != nil {
			return err
		}
		cfg, err := load(*path, config.ForRun, io)
		if err != nil {
			return err
		}
		now := time.Now()
		j.At, j.By = now, "command"
		if *at != "" {
			if j.At, err = moment(*at, cfg.Farm.Location); err != nil {
				return err
			}
		}
		j.At = j.At.UTC().Truncate(time.Millisecond)
		if err := ingest.CheckJot(&cfg.Farm, j, now); err != nil {
			return err
		}
		return noteJot(ctx, cfg, j, now, io)
	}
	return c
}

// parseJot reads BIN[/ZONE] WHAT [AMOUNT] [of KIND] [to BIN]. An amount may be
// one word or two, a kind any number.
func parseJot(words []string) (j farm.Jot, err error) {
	if len(words) < 2 {
		return j, misusef("wants at least a bin and what was done, as in: jot bed/near fed 2 kg of grain")
	}
	j.Bin, j.Zone, _ = strings.Cut(words[0], "/")
	j.What = farm.JotKind(words[1])
	part := map[string][]string{}
	in := "amount"
	for _, w := range words[2:] {
		if w == "of" || w == "to" {
			if _, twice := part[w]; twice {
				return j, misusef("%q stands there twice", w)
			}
			in = w
			part[w] = nil
			continue
		}
		part[in] = append(part[in], w)
	}
	for _, w := range []string{"of", "to"} {
		if ws, ok := part[w]; ok && len(ws) == 0 {
			return j, misusef("nothing follows %q", w)
		}
	}
	j.Of, j.To = strings.Join(part["of"], " "), strings.Join(part["to"], " ")
	if amount := strings.Join(part["amount"], " "); amount != "" {
		if j.Kg, j.Litres, err = quantity.ParseAmount(amount); err != nil {
			return j, misuse{err.Error()}
		}
	}
	return j, nil
}

// noteJot has the daemon write the jot, or writes it when none is running.
func noteJot(ctx context.Context, cfg *config.Config, j farm.Jot, now time.Time, io *streams) error {
	err := control.NewClient(cfg.Control).Act(ctx, control.Action{Jot: &j})
	switch {
	case err == nil:
		fmt.Fprintln(io.out, "noted:", sayJot(cfg, j))
		return nil
	case !errors.Is(err, control.ErrNoDaemon):
		return err
	}
	jr, err := journal.Open(ctx, journal.Config{Path: cfg.Journal.Path, Keep: cfg.Journal.Keep, Now: time.Now})
	if err != nil {
		return err
	}
	defer jr.Close()
	tellers := tellersOf(cfg)
	owes := func(ch farm.Change) []farm.Owed { return notify.OwedFor(tellers, ch, now) }
	if err := watch.Note(ctx, jr, &cfg.Farm, farm.Event{Kind: farm.EventJot, Jot: j}, now, owes); err != nil {
		return err
	}
	fmt.Fprintln(io.out, "noted, with no daemon running:", sayJot(cfg, j))
	return nil
}

// tellersOf names who is told, without revealing any secret.
func tellersOf(cfg *config.Config) []notify.Teller {
	var out []notify.Teller
	for _, t := range cfg.Tell {
		out = append(out, teller(t, func(string, config.Secret) string { return "" }))
	}
	return notify.Named(out)
}

func sayJot(cfg *config.Config, j farm.Jot) string {
	b, _ := cfg.Farm.BinByName(j.Bin)
	s := farm.SayPlace(j.Bin, j.Zone, len(b.Zones) == 1) + " " + string(j.What)
	switch {
	case j.Kg > 0:
		s += " " + quantity.FormatMass(j.Kg)
	case j.Litres > 0:
		s += " " + quantity.FormatVolume(j.Litres)
	}
	if j.Of != "" {
		s += " of " + j.Of
	}
	if j.To != "" {
		s += " to " + j.To
	}
	return s
}
