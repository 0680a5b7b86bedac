package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync/atomic"
	"syscall"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/control"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"binwatchd/internal/watch"
)

// A doorway is what the control socket hands requests to: who waits there, and
// later the daemon itself, without a moment in which nobody answers.
type doorway struct {
	server *control.Server // nil: there is no socket
	behind atomic.Pointer[control.Door]
	path   string
	dir    fs.FileInfo // of the socket; nil: it could not be looked at
}

// open has a door answer from now on, and makes the socket the first time.
func (d *doorway) open(path string, door control.Door) (err error) {
	d.behind.Store(&door)
	if path != "" && d.server == nil {
		d.path = path
		d.dir, _ = os.Stat(filepath.Dir(path)) // else the socket is not made again
		d.server, err = control.Listen(path, d)
	}
	return err
}

// keep makes the socket again where somebody has deleted it, as with all that
// lay beside the journal, or its folder, once there is one of that name again: it
// is the way to what the daemon still has open.
func (d *doorway) keep() error {
	if d.server == nil || d.dir == nil {
		return nil
	}
	if dir, err := os.Stat(filepath.Dir(d.path)); err != nil || deviceOf(dir) != deviceOf(d.dir) {
		return nil // a socket in what is mounted there would keep it from being taken off
	}
	if _, err := os.Lstat(d.path); !errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	server, err := control.Listen(d.path, d)
	if err != nil {
		return err
	}
	was := d.server
	d.server = server
	was.Abandon()
	return nil
}

// deviceOf is the file system that a file lies on.
func deviceOf(info fs.FileInfo) uint64 { return uint64(info.Sys().(*syscall.Stat_t).Dev) }

func (d *doorway) close() error {
	if d.server == nil {
		return nil
	}
	return d.server.Close()
}

func (d *doorway) Look(ctx context.Context) (farm.View, error) { return (*d.behind.Load()).Look(ctx) }
func (d *doorway) Act(ctx context.Context, e farm.Event) error { return (*d.behind.Load()).Act(ctx, e) }
func (d *doorway) Reload(ctx context.Context) error            { return (*d.behind.Load()).Reload(ctx) }

func (d *doorway) Copy(ctx context.Context, w io.Writer) error {
	return (*d.behind.Load()).Copy(ctx, w)
}

// servants do what commands ask of the daemon.
type servants struct{ d *daemon }

func (o servants) Look(ctx context.Context) (farm.View, error) { return o.d.view(ctx) }

func (o servants) Act(ctx context.Context, e farm.Event) error { return o.d.loop.Act(ctx, e) }

func (o servants) Reload(ctx context.Context) error { return o.d.reload(ctx) }

func (o servants) Copy(ctx context.Context, w io.Writer) error {
	err := o.d.journal.CopyOpen(ctx, w)
	if errors.Is(err, journal.ErrInPlace) {
		return control.ErrInPlace
	}
	return err
}

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

// Copy leaves the journal to whoever asks: the porter has none open.
func (p porter) Copy(context.Context, io.Writer) error { return control.ErrInPlace }

func (p porter) Reload(context.Context) error {
	return errors.New("the daemon waits for a journal it can write; it reads its configuration again when it is restarted")
}
