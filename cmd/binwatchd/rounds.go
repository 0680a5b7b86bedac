package main

import (
	"context"
	"flag"
	"fmt"

	"binwatchd/internal/rounds"
)

func roundsCommand() command {
	c := command{name: "rounds", usage: "--config FILE [--json]", does: "writes the care list for today"}
	c.run = func(ctx context.Context, args []string, io *streams) error {
		fs := flag.NewFlagSet(c.name, flag.ContinueOnError)
		asJSON := fs.Bool("json", false, "write one JSON object")
		cfg, _, err := configured(c, fs, args, noWords, io)
		if err != nil {
			return err
		}
		v, err := view(ctx, cfg)
		if err != nil {
			return err
		}
		list := rounds.List(v, cfg.Farm.Location)
		if *asJSON {
			return writeJSON(io.out, list)
		}
		fmt.Fprint(io.out, rounds.Text(list, cfg.Farm.Location))
		return nil
	}
	return c
}
