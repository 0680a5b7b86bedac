package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/control"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"binwatchd/internal/watch"
)

// view asks the running daemon how the farm stands, or reads it out of the
// journal when none runs.
func view(ctx context.Context, cfg *config.Config) (farm.View, error) {
	v, err := control.NewClient(cfg.Control).Look(ctx)
	if !errors.Is(err, control.ErrNoDaemon) {
		return v, err
	}
	return viewOfJournal(ctx, cfg, machineTimes().now())
}

// viewOfJournal reads how the farm stands out of the journal.
func viewOfJournal(ctx context.Context, cfg *config.Config, now time.Time) (farm.View, error) {
	j, err := openToRead(ctx, cfg)
	if err != nil {
		return farm.View{}, err
	}
	defer j.Close()
	r, err := watch.Rebuild(ctx, j, &cfg.Farm)
	if err != nil {
		return farm.View{}, err
	}
	v := r.State.Look(later(now, r.Last))
	if cfg.Influx != nil {
		v.Passing, err = refusals(ctx, j)
	}
	return v, err
}

// shownRefusals is how many of the newest a person is shown.
const shownRefusals = 3

// refusals reads what the database refused for good.
func refusals(ctx context.Context, j *journal.Journal) (*farm.PassingOn, error) {
	newest, total, err := j.Parked(ctx, shownRefusals)
	if err != nil {
		return nil, err
	}
	p := &farm.PassingOn{Refusals: total}
	for _, r := range newest {
		p.Newest = append(p.Newest, farm.Refusal{At: r.At, Reason: r.Reason, Line: r.Line})
	}
	return p, nil
}

func missing(path string) bool {
	_, err := os.Stat(path)
	return errors.Is(err, fs.ErrNotExist)
}

// openToRead opens the journal beside a daemon, or without one.
func openToRead(ctx context.Context, cfg *config.Config) (*journal.Journal, error) {
	if missing(cfg.Journal.Path) {
		if dir := filepath.Dir(cfg.Journal.Path); missing(dir) {
			return nil, fmt.Errorf("there is no folder %s. If the daemon runs, its journal was deleted or moved away under it: do not stop it, put the folder back, "+
				"or make a new one of that name and owner if it is gone, and ask again ten seconds later. If it does not run yet, make the folder, then: binwatchd run", dir)
		}
		return nil, fmt.Errorf("there is no journal yet at %s; start the daemon first: binwatchd run", cfg.Journal.Path)
	}
	return journal.OpenReadOnly(ctx, journal.Config{Path: cfg.Journal.Path, Now: time.Now})
}
