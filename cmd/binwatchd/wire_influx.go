package main

import (
	"context"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
	"binwatchd/internal/journal"
)

// troubleWait bounds how long forwarding waits for a loop that is busy.
const troubleWait = 10 * time.Second

// influxJournal shows the journal as the forwarder wants to see it.
type influxJournal struct{ *journal.Journal }

func (j influxJournal) Forward(ctx context.Context, after int64, limit int) (influx.Stretch, error) {
	s, err := j.Journal.Forward(ctx, after, limit)
	changes := make([]farm.Change, len(s.Changes))
	for i, ch := range s.Changes {
		changes[i] = ch.Change
	}
	return influx.Stretch{Events: s.Events, Changes: changes, Last: s.Last}, err
}

func (j influxJournal) Park(ctx context.Context, rows []influx.Parked) error {
	parked := make([]journal.Parked, len(rows))
	for i, r := range rows {
		parked[i] = journal.Parked{At: r.At, Line: r.Line, Reason: r.Reason, Rows: r.Rows}
	}
	return j.Journal.Park(ctx, parked)
}

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
	d.forward, err = influx.New(ic, d.farms.at, influxJournal{d.journal}, d.trouble)
	return err
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
