package main

import (
	"context"
	"errors"
	"flag"
	"fmt"

	"binwatchd/internal/config"
	"binwatchd/internal/watch"
)

func checkCommand() command {
	c := command{
		name: "check", usage: "--config FILE [--show] [--payload TOPIC TEXT] | --schema",
		does: "checks a configuration: every error at once, with its place",
	}
	c.run = func(_ context.Context, args []string, io *streams) error {
		fs := flag.NewFlagSet(c.name, flag.ContinueOnError)
		path := fs.String("config", "", "`FILE` to check")
		show := fs.Bool("show", false, "print every value in force, secrets as their source only")
		payload := fs.Bool("payload", false, "show what a message on TOPIC with TEXT would become")
		schema := fs.Bool("schema", false, "print a JSON Schema of the configuration, for editors")
		words, err := parse(c, fs, args, io)
		if err != nil {
			return err
		}
		if *schema {
			text, err := config.Schema()
			if err != nil {
				return err
			}
			if _, err := io.out.Write(text); err != nil {
				return fmt.Errorf("write the schema: %w", err)
			}
			return nil
		}
		if !*payload {
			err = noWords(words)
		} else if len(words) != 2 {
			err = misusef("--payload wants a TOPIC and a TEXT")
		}
		if err != nil {
			return err
		}
		cfg, err := load(*path, config.ForRun, io)
		if err != nil {
			return err
		}
		switch {
		case *payload:
			fmt.Fprintln(io.out, watch.Explain(&cfg.Farm, cfg.Broker.Prefix, words[0], []byte(words[1])))
			return nil
		case *show:
			return cfg.Show(io.out)
		}
		reasons := tried(cfg)
		for _, r := range append(foldersNotHere(cfg), reasons...) {
			fmt.Fprintln(io.talk, "note:", r)
		}
		if cfg.Barred+len(reasons) > 0 {
			return errBarred(*path)
		}
		fmt.Fprintf(io.out, "%s is right: %s, %d bins, %d probes\n", *path, cfg.Farm.Name, len(cfg.Farm.Bins), len(cfg.Farm.Probes))
		return nil
	}
	return c
}

// load reads the configuration a command was given. Every problem goes to
// talk, a line each.
func load(path string, need config.Need, io *streams) (*config.Config, error) {
	if path == "" {
		return nil, misusef("--config FILE is needed")
	}
	cfg, err := config.Load(path, need)
	var problems *config.Problems
	if errors.As(err, &problems) {
		fmt.Fprintln(io.talk, problems)
		return nil, errSaid
	}
	if err != nil {
		return nil, err
	}
	for _, n := range cfg.Notes {
		fmt.Fprintln(io.talk, "note:", n)
	}
	return cfg, nil
}
