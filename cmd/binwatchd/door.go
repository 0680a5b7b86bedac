package main

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/control"
	"binwatchd/internal/farm"
	"binwatchd/internal/watch"
)

// A doorway is what the control socket hands requests to: who waits there, and
// later the daemon itself, without a moment in which nobody answers.
type doorway struct {
	server *control.Server // nil: there is no socket
	behind atomic.Pointer[control.Door]
}

// open has a door answer from now on, and makes the socket the first time.
func (d *doorway) open(path string, door control.Door) (err error) {
	d.behind.Store(&door)
	if path != "" && d.server == nil {
		d.server, err = control.Listen(path, d)
	}
	return err
}

func (d *doorway) close() error {
	if d.server == nil {
		return nil
	}
	return d.server.Close()
}

func (d *doorway) Look(ctx context.Context) (farm.View, error) { return (*d.behind.Load()).Look(ctx) }
func (d *doorway) Act(ctx context.Context, e farm.Event) error { return (*d.behind.Load()).Act(ctx, e) }
func (d *doorway) Reload(ctx context.Context) error            { return (*d.behind.Load()).Reload(ctx) }

// servants do what commands ask of the daemon.
type servants struct{ d *daemon }

func (o servants) Look(ctx context.Context) (farm.View, error) { return o.d.view(ctx) }

func (o servants) Act(ctx context.Context, e farm.Event) error { return o.d.loop.Act(ctx, e) }

func (o servants) Reload(ctx context.Context) error { return o.d.reload(ctx) }

// A porter answers commands while the daemon waits at its start for the disk
// that holds the journal.
type porter struct {
	cfg   *config.Config
	since time.Time
	why   string // the journal can't be opened for writing
	now   func() time.Time
}

// Look gives how the farm stood when the journal was last written.
func (p porter) Look(ctx context.Context) (farm.View, error) {
	v, err := viewOfJournal(ctx, p.cfg, p.now())
	if err != nil {
		return v, fmt.Errorf("the daemon waits since %s for a journal it can write (%s), and it can't be read either: %w",
			p.since.In(p.cfg.Farm.Location).Format("2 January 15:04"), p.why, err)
	}
	v.Intake = farm.IntakeView{Running: true, Unwritten: &p.since, Why: p.why}
	return v, nil
}

func (p porter) Act(context.Context, farm.Event) error { return watch.ErrUnwritten }

func (p porter) Reload(context.Context) error {
	return errors.New("the daemon waits for a journal it can write; it reads its configuration again when it is restarted")
}
