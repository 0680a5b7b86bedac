package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"binwatchd/internal/config"
	"binwatchd/internal/control"
	"binwatchd/internal/journal"
)

func writeBackup(ctx context.Context, c *call) error {
	file := c.words[0]
	if err := backup(ctx, c.cfg, file, c.talk); err != nil {
		return err
	}
	has, err := journal.Verify(ctx, file)
	if err != nil {
		return fmt.Errorf("the copy is not sound: %w", err)
	}
	fmt.Fprintf(c.out, "%s holds %d readings and %d other events, and is sound\n", file, has.Readings, has.Events)
	return nil
}

// backup copies the journal from its path or, where that no longer names it, from
// the daemon that still has it open.
func backup(ctx context.Context, cfg *config.Config, path string, talk io.Writer) error {
	open, err := client(cfg).Copy(ctx)
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
