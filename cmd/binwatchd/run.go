package main

import (
	"context"
	"errors"
	"flag"
	"log/slog"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"binwatchd/internal/clock"
	"binwatchd/internal/config"
	"binwatchd/internal/ingest"
	"binwatchd/internal/systemd"
)

// runCommand makes the command that runs the daemon by a machine's clocks.
func runCommand(machine clock.Sources) command {
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
		d := &daemon{path: *path, log: log, clock: clockwork{now: machine.Wall, sources: &machine}, manager: manager}
		judgeCertificates(d.certificates)
		ended, err := d.openPatiently(ctx, cfg)
		defer ended()
		if err != nil {
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
// changes nothing. The session with the broker goes on.
func (d *daemon) reload(ctx context.Context) error {
	if d.path == "" {
		return errors.New("there is no configuration file to reload")
	}
	d.reloading.Lock()
	defer d.reloading.Unlock()
	wanted, err := config.Load(d.path, config.ForRun)
	if err != nil {
		return err
	}
	cfg, waits := taken(d.cfg.Load(), wanted)
	waits = append(waits, d.broken(cfg)...)
	name, err := digest(cfg)
	if err != nil {
		return err
	}
	sender, tellers, err := d.newSender(cfg)
	if err != nil {
		return err
	}
	if err := d.loop.Reload(ctx, &cfg.Farm, name); err != nil {
		return err // the sender in force stays, and with it what it told from memory
	}
	gone := withoutTellers(d.sending.tellers(), tellers)
	d.sending.set(sender, tellers)
	if err := sender.Forget(ctx, gone); err != nil {
		d.log.Warn("what is owed to tellers that are gone stays owed", "error", err)
	}
	d.hear(cfg)
	d.logDifference(d.cfg.Swap(cfg), cfg, waits)
	return nil
}

// hear has the intake hear the probes of a configuration and no others.
func (d *daemon) hear(cfg *config.Config) {
	decoder := ingest.NewDecoder(&cfg.Farm, cfg.Broker.Prefix)
	switch in := d.intake.(type) {
	case *ingest.Source:
		in.Hear(decoder.Filters())
	case *ingest.Listener:
		in.Hear(decoder.Topics())
	}
}

// difference lists the lines of what is in force that went and came.
func difference(old, cfg *config.Config) (gone, come []string, err error) {
	var was, is strings.Builder
	if err := errors.Join(old.Show(&was), cfg.Show(&is)); err != nil {
		return nil, nil, err
	}
	a, b := strings.Split(was.String(), "\n"), strings.Split(is.String(), "\n")
	return without(a, b), without(b, a), nil
}

// without gives the lines of a that b does not have as often.
func without(a, b []string) []string {
	left := map[string]int{}
	for _, l := range b {
		left[l]++
	}
	var out []string
	for _, l := range a {
		if left[l]--; left[l] < 0 {
			out = append(out, strings.TrimSpace(l))
		}
	}
	return out
}
