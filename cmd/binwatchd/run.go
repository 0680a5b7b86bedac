package main

import (
	"context"
	"flag"
	"log/slog"
	"os"
	"os/signal"
	"syscall"

	"binwatchd/internal/clock"
	"binwatchd/internal/systemd"
)

// runCommand makes the command that runs the daemon by a machine's clocks.
func runCommand(machine clock.Sources) command {
	return command{
		name: "run", usage: "--config FILE [--verbose]", does: "runs the daemon: SIGHUP reloads, SIGTERM drains and stops", load: forRun,
		setup: func(fs *flag.FlagSet) work {
			verbose := fs.Bool("verbose", false, "log every rejected message too")
			return work{run: func(ctx context.Context, c *call) error {
				level := slog.LevelInfo
				if *verbose {
					level = slog.LevelDebug
				}
				return runDaemon(ctx, c, machine, slog.New(slog.NewTextHandler(c.talk, &slog.HandlerOptions{Level: level})))
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
	ended, err := d.openOnceWritable(ctx, c.cfg)
	defer ended()
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
	done := make(chan struct{})
	go func() {
		for {
			select {
			case <-hup:
				d.tell("reloading", d.manager.Reloading())
				if err := d.reload(ctx); err != nil {
					d.log.Error("configuration not taken; the one before stays in force", "error", err)
				}
				d.tell("ready", d.manager.Ready("watching "+d.cfg.Load().Farm.Name))
			case <-done:
				return
			}
		}
	}()
	return func() {
		signal.Stop(hup)
		close(done)
	}
}

// tell notes that the service manager could not be told something; the daemon
// does its work all the same.
func (d *daemon) tell(what string, err error) {
	if err != nil {
		d.log.Warn("service manager not told", "what", what, "error", err)
	}
}

// alive asks the loop that writes the journal, for the watchdog.
func (d *daemon) alive(ctx context.Context) error { return d.loop.Alive(ctx) }
