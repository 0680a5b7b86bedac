package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"

	"binwatchd/internal/config"
	"binwatchd/internal/control"
	"binwatchd/internal/journal"
)

func backupCommand() command {
	c := command{name: "backup", usage: "FILE --config FILE", does: "writes a consistent copy of the journal, also while the daemon runs"}
	c.run = func(ctx context.Context, args []string, std *streams) error {
		fs := flag.NewFlagSet(c.name, flag.ContinueOnError)
		cfg, words, err := configured(c, fs, args, oneWord("wants one FILE to write"), std)
		if err != nil {
			return err
		}
		if err := backup(ctx, cfg, words[0], std.talk); err != nil {
			return err
		}
		has, err := journal.Verify(ctx, words[0])
		if err != nil {
			return fmt.Errorf("the copy is not sound: %w", err)
		}
		fmt.Fprintf(std.out, "%s holds %d readings and %d other events, and is sound\n", words[0], has.Readings, has.Events)
		return nil
	}
	return c
}

// backup copies the journal from its path or, where that no longer names it, from
// the daemon that still has it open.
func backup(ctx context.Context, cfg *config.Config, path string, talk io.Writer) error {
	open, err := control.NewClient(cfg.Control).Copy(ctx)
	switch {
	case err == nil:
		defer open.Close()
		fmt.Fprintf(talk, "%s no longer names what the daemon has open; copying that\n", cfg.Journal.Path)
		return journal.Receive(ctx, path, open)
	case !errors.Is(err, control.ErrInPlace) && !errors.Is(err, control.ErrNoDaemon):
		fmt.Fprintf(talk, "the daemon was not asked: %v\n", err)
	}
	j, err := openToRead(ctx, cfg)
	if err != nil {
		return err
	}
	defer j.Close()
	return j.Backup(ctx, path)
}
