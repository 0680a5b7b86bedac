package main

import (
	"context"
	"errors"
	"flag"
	"log/slog"
	"os"
	"os/signal"
	"syscall"
	"time"

	"binwatchd/internal/clock"
	"binwatchd/internal/config"
	"binwatchd/internal/systemd"
)

func runCommand() command {
	c := command{name: "run", usage: "--config FILE [--verbose]", does: "runs the daemon: SIGHUP reloads, SIGTERM drains and stops"}
	c.run = func(ctx context.Context, args []string, io *streams) error {
		fs := flag.NewFlagSet(c.name, flag.ContinueOnError)
		path := fs.String("config", "", "configuration `FILE`")
		verbose := fs.Bool("verbose", false, "log every rejected message too")
		words, err := parse(c, fs, args, io)
		if err != nil {
			return err
		}
		if err := noWords(words); err != nil {
			return err
		}
		cfg, err := load(*path, config.ForRun, io)
		if err != nil {
			return err
		}
		level := slog.LevelInfo
		if *verbose {
			level = slog.LevelDebug
		}
		log := slog.New(slog.NewTextHandler(io.talk, &slog.HandlerOptions{Level: level}))
		manager, err := systemd.FromEnvironment(os.Getenv, os.Getpid())
		if err != nil {
			return err
		}
		kernel := clock.Kernel()
		d := &daemon{path: *path, log: log, clock: clockwork{now: time.Now, sources: &kernel}, manager: manager}
		if err := d.open(ctx, cfg); err != nil {
			return err
		}
		defer d.reloadOnHangup(ctx)()
		log.Info("watching", "farm", cfg.Farm.Name, "bins", len(cfg.Farm.Bins), "probes", len(cfg.Farm.Probes), "version", versionName())
		d.tell("ready", manager.Ready("watching "+cfg.Farm.Name))
		err = d.serve(ctx)
		log.Info("stopped")
		return err
	}
	return c
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
func (d *daemon) alive(ctx context.Context) error {
	_, _, err := d.loop.Commits(ctx)
	return err
}

// reload puts the configuration file in force as it is now. A bad file
// changes nothing.
func (d *daemon) reload(ctx context.Context) error {
	if d.path == "" {
		return errors.New("there is no configuration file to reload")
	}
	cfg, err := config.Load(d.path, config.ForRun)
	if err != nil {
		return err
	}
	name, err := digest(cfg)
	if err != nil {
		return err
	}
	if err := d.openSender(cfg); err != nil {
		return err
	}
	if err := d.loop.Reload(ctx, &cfg.Farm, name); err != nil {
		return err
	}
	d.cfg.Store(cfg)
	d.log.Info("configuration reloaded", "bins", len(cfg.Farm.Bins), "probes", len(cfg.Farm.Probes))
	return nil
}
