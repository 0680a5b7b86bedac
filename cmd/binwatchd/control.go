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

// A controlSocket is where commands reach the daemon. While it waits for its disk
// another answers there than later, without a moment in which nobody does.
type controlSocket struct {
	server  *control.Server // nil: there is no socket
	answers atomic.Pointer[control.Daemon]
	path    string
	journal string
	dir     fs.FileInfo // the socket's folder when it was made; nil: it could not be looked at
}

// open has a daemon answer from now on, and makes the socket the first time.
func (s *controlSocket) open(cfg *config.Config, d control.Daemon) (err error) {
	s.answers.Store(&d)
	if cfg.Control != "" && s.server == nil {
		s.path, s.journal = cfg.Control, cfg.Journal.Path
		s.dir, _ = os.Stat(filepath.Dir(s.path)) // else the socket is not made again
		s.server, err = control.Listen(s.path, s.journal, s)
	}
	return err
}

// keep makes the socket again where somebody has deleted it, as with all that
// lay beside the journal, or its folder, once there is one of that name again: it
// is the way to what the daemon still has open.
func (s *controlSocket) keep() error {
	if s.server == nil || s.dir == nil {
		return nil
	}
	if dir, err := os.Stat(filepath.Dir(s.path)); err != nil || deviceOf(dir) != deviceOf(s.dir) {
		return nil // a socket in what is mounted there would keep it from being taken off
	}
	if _, err := os.Lstat(s.path); !errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	server, err := control.Listen(s.path, s.journal, s)
	if err != nil {
		return err
	}
	was := s.server
	s.server = server
	was.Abandon()
	return nil
}

// deviceOf is the file system that a file lies on.
func deviceOf(info fs.FileInfo) uint64 { return uint64(info.Sys().(*syscall.Stat_t).Dev) }

func (s *controlSocket) close() error {
	if s.server == nil {
		return nil
	}
	return s.server.Close()
}

func (s *controlSocket) Look(ctx context.Context, closely bool) (farm.View, error) {
	return (*s.answers.Load()).Look(ctx, closely)
}

func (s *controlSocket) Act(ctx context.Context, all ...farm.Event) error {
	return (*s.answers.Load()).Act(ctx, all...)
}

func (s *controlSocket) Copy(ctx context.Context, w io.Writer) error {
	return (*s.answers.Load()).Copy(ctx, w)
}

// A runningDaemon answers commands once the journal is open.
type runningDaemon struct{ d *daemon }

func (r runningDaemon) Look(ctx context.Context, closely bool) (farm.View, error) {
	if closely {
		return r.d.view(ctx)
	}
	return r.d.glance(ctx)
}

func (r runningDaemon) Act(ctx context.Context, all ...farm.Event) error {
	return r.d.act(ctx, all...)
}

func (r runningDaemon) Copy(ctx context.Context, w io.Writer) error {
	err := r.d.journal.CopyOpen(ctx, w)
	if errors.Is(err, journal.ErrInPlace) {
		return control.ErrInPlace
	}
	return err
}

// A waitingDaemon answers commands while the daemon waits at its start for the
// disk that holds the journal.
type waitingDaemon struct {
	cfg   *config.Config
	since time.Time
	why   string // the journal can't be opened for writing
	now   func() time.Time
}

// Look gives how the farm stood when the journal was last written.
func (w waitingDaemon) Look(ctx context.Context, closely bool) (farm.View, error) {
	v, err := viewOfJournal(ctx, w.cfg, w.now(), closely)
	if err != nil {
		return v, fmt.Errorf("the daemon waits since %s for a journal it can write (%s), and it can't be read either: %w",
			w.since.In(w.cfg.Farm.Location).Format("2 January 15:04"), w.why, err)
	}
	v.Intake = farm.IntakeView{Running: true, Unwritten: &w.since, Why: w.why}
	return v, nil
}

func (w waitingDaemon) Act(context.Context, ...farm.Event) error { return watch.ErrUnwritten }

// Copy leaves the journal to whoever asks: a waiting daemon has none open.
func (w waitingDaemon) Copy(context.Context, io.Writer) error { return control.ErrInPlace }
