package main

import (
	"context"
	"flag"
	"fmt"

	"binwatchd/internal/journal"
)

func backupCommand() command {
	c := command{name: "backup", usage: "FILE --config FILE", does: "writes a consistent copy of the journal, also while the daemon runs"}
	c.run = func(ctx context.Context, args []string, io *streams) error {
		fs := flag.NewFlagSet(c.name, flag.ContinueOnError)
		cfg, words, err := configured(c, fs, args, oneWord("wants one FILE to write"), io)
		if err != nil {
			return err
		}
		j, err := openToRead(ctx, cfg)
		if err != nil {
			return err
		}
		defer j.Close()
		if err := j.Backup(ctx, words[0]); err != nil {
			return err
		}
		has, err := journal.Verify(ctx, words[0])
		if err != nil {
			return fmt.Errorf("the copy is not sound: %w", err)
		}
		fmt.Fprintf(io.out, "%s holds %d readings and %d other events, and is sound\n", words[0], has.Readings, has.Events)
		return nil
	}
	return c
}
