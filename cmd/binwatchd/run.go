package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"slices"
	"sync"
	"syscall"
	"time"

	"golang.org/x/sys/unix"

	"binwatchd/internal/backoff"
	"binwatchd/internal/clock"
	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"binwatchd/internal/notify"
	"binwatchd/internal/systemd"
	"binwatchd/internal/watch"
)

// runCommand makes the command that runs the daemon by a machine's clocks.
func runCommand(machine clock.Sources) command {
	return command{
		name: "run", usage: "--config FILE [--verbose] [--log text|json]", does: "runs the daemon: SIGHUP reloads, SIGTERM drains and stops", load: forRun,
		setup: func(fs *flag.FlagSet) work {
			verbose := fs.Bool("verbose", false, "log every rejected message too")
			form := fs.String("log", "text", "how the log is written: `text|json`")
			wanted := func() error {
				return misuseIf(*form != "text" && *form != "json", fmt.Sprintf("--log is text or json, not %q", *form))
			}
			return work{flags: wanted, run: func(ctx context.Context, c *call) error {
				level := slog.LevelInfo
				if *verbose {
					level = slog.LevelDebug
				}
				return runDaemon(ctx, c, machine, newLog(c.talk, *form == "json", inJournal(c.talk), level))
			}}
		},
	}
}

// runDaemon serves until ctx ends.
func runDaemon(ctx context.Context, c *call, machine clock.Sources, log *slog.Logger) error {
	manager, err := systemd.FromEnvironment(os.Getenv, os.Getpid())
	if err != nil {
		return err
	}
	d := &daemon{path: c.path, log: log, clock: clockwork{now: machine.Wall, sources: &machine}, manager: manager}
	judgeCertificates(d.certificates)
	// A dump of memory would hold secrets. Where this is not allowed, as under the
	// package's unit, the limit is that already.
	_ = unix.Setrlimit(unix.RLIMIT_CORE, &unix.Rlimit{})
	ended, err := d.openOnceWritable(ctx, c.cfg)
	defer ended()
	if ctx.Err() != nil && err != nil {
		log.Info("stopped before it watched", "while", err)
		return nil // to a service manager a stop is never a failure
	}
	if err != nil {
		return err
	}
	defer d.reloadOnHangup(ctx)()
	f := &c.cfg.Farm
	log.Info("watching", "farm", f.Name, "bins", len(f.Bins), "probes", len(f.Probes), "version", versionName())
	d.tell("ready", manager.Ready("watching "+f.Name))
	err = d.serve(ctx)
	log.Info("stopped")
	return err
}

// reloadOnHangup reloads at each SIGHUP until the function it gives is called.
func (d *daemon) reloadOnHangup(ctx context.Context) (stop func()) {
	hup := make(chan os.Signal, 1)
	signal.Notify(hup, syscall.SIGHUP)
	go func() {
		for range hup {
			d.tell("reloading", d.manager.Reloading())
			if err := d.reload(ctx); err != nil {
				d.log.Error("configuration not taken; the one before stays in force", "error", err)
			}
			d.tell("ready", d.manager.Ready("watching "+d.cfg.Load().Farm.Name))
		}
	}()
	return func() {
		signal.Stop(hup)
		close(hup)
	}
}

// tell notes that the service manager could not be told something; the daemon
// does its work all the same.
func (d *daemon) tell(what string, err error) {
	if err != nil {
		d.log.Warn("service manager not told", "what", what, "error", err)
	}
}

// openOnceWritable opens the daemon, and where the disk is full, read-only or
// broken, tells the keeper from memory and waits until it is not. A machine
// that comes up with a card that has turned read-only would otherwise be
// silent just when it matters. Ended has to be called when the daemon ends.
func (d *daemon) openOnceWritable(ctx context.Context, cfg *config.Config) (ended func(), err error) {
	err = d.open(ctx, cfg)
	if !diskTrouble(err) {
		return func() {}, err
	}
	d.outage = d.now()
	ended, failed := d.tellWithoutJournal(ctx, cfg)
	if failed != nil {
		return func() {}, errors.Join(err, failed)
	}
	d.tellAtOnce(watch.Unwritable(d.outage, err, whole(d.path)))
	d.answerWhileWaiting(cfg, err)
	d.tell("waiting", d.manager.Ready("waiting for the disk that holds the journal"))
	for tries := 1; diskTrouble(err); tries++ {
		wait := watch.DiskRetry.After(tries)
		d.log.Error("journal can't be opened for writing; trying again", "error", err, "wait", wait)
		d.tell("alive", d.manager.Alive())
		if !backoff.Pause(ctx, wait) {
			break
		}
		err = d.open(ctx, cfg)
	}
	if err != nil {
		ended()
		return func() {}, errors.Join(err, d.socket.close())
	}
	d.log.Info("journal can be opened for writing", "outage", d.now().Sub(d.outage).Round(time.Second))
	return ended, nil // the loop tells the end of the outage, once it trusts the disk
}

// answerWhileWaiting has commands told since when the daemon waits, and why. Where the
// socket is to be on the very disk that can't be written to, it waits unseen.
func (d *daemon) answerWhileWaiting(cfg *config.Config, err error) {
	failed := d.socket.open(cfg, waitingDaemon{cfg, d.outage, watch.Why(err), d.now})
	if failed != nil {
		d.log.Warn("commands are not told that the daemon waits", "error", failed)
	}
}

// diskTrouble tells whether an error is one that goes away when somebody sees
// to the disk, or to a program that keeps the file locked. A file that belongs to
// somebody else is none: that is a mistake of setting up, and said at once.
func diskTrouble(err error) bool {
	return slices.ContainsFunc([]error{journal.ErrFull, journal.ErrDisk, journal.ErrLocked, syscall.EROFS, syscall.ENOSPC, syscall.EIO},
		func(one error) bool { return errors.Is(err, one) })
}

// tellWithoutJournal runs a sender with an outbox of nothing, for what is told from
// memory while there is no journal. It runs until ended is called: who heard of
// the outage from it hears of its end from it, beside the daemon's own notices.
func (d *daemon) tellWithoutJournal(ctx context.Context, cfg *config.Config) (ended func(), err error) {
	nc, err := notifyConfig(cfg, d.path, d.log, d.times())
	if err != nil {
		return nil, err
	}
	nc.Rounds, nc.Life = nil, nil
	if d.fromMemory, err = notify.NewSender(nc, notify.Sources{Outbox: noOutbox{}}); err != nil {
		return nil, err
	}
	own, cancel := context.WithCancel(context.WithoutCancel(ctx))
	var wg sync.WaitGroup
	sender := d.fromMemory
	wg.Go(func() { sender.Run(own) })
	return func() { cancel(); wg.Wait() }, nil
}

// tellAtOnce tells of the journal from memory. It is called before the loop runs, and
// then by the loop alone.
func (d *daemon) tellAtOnce(ch farm.Change) {
	if d.fromMemory == nil {
		d.sending.now().FromMemory(ch)
		return
	}
	d.fromMemory.FromMemory(ch)
	if ch.Change == farm.Eased {
		d.fromMemory = nil // the next outage is for the tellers in force then
	}
}

// noOutbox owes nothing: there is no journal.
type noOutbox struct{}

func (noOutbox) Owed(context.Context, string, time.Time, int) ([]farm.Owed, error) { return nil, nil }
func (noOutbox) ToldOf(context.Context, string, string) ([]farm.Owed, error)       { return nil, nil }
func (noOutbox) ToldSince(context.Context, string, time.Time) ([]farm.Owed, error) { return nil, nil }
func (noOutbox) HandOver(context.Context, []int64, string) error                   { return nil }
func (noOutbox) Settle(context.Context, time.Time, ...farm.Fated) error            { return nil }
func (noOutbox) Postpone(context.Context, []int64, time.Time, string) error        { return nil }
func (noOutbox) Owe(context.Context, []farm.Owed) error                            { return nil }
func (noOutbox) Wake() <-chan struct{}                                             { return nil }
