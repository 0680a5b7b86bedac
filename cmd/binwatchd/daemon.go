package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"binwatchd/internal/clock"
	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/influx"
	"binwatchd/internal/ingest"
	"binwatchd/internal/journal"
	"binwatchd/internal/notify"
	"binwatchd/internal/page"
	"binwatchd/internal/rounds"
	"binwatchd/internal/systemd"
	"binwatchd/internal/watch"
)

// A daemon is the parts of one running program, wired together.
type daemon struct {
	path  string // of the configuration; "" in the demo
	log   *slog.Logger
	clock clockwork
	said  func([]farm.Change)

	manager   systemd.Notifier // zero: nobody listens
	reloading sync.Mutex       // one reload at a time

	cfg        atomic.Pointer[config.Config] // in force
	farms      farms
	sealed     []seal // what was read from files at the start, and takes a restart to be read again
	journal    *journal.Journal
	program    journal.Program // that runs, and what is news of it
	intake     intake
	loop       *watch.Loop
	timed      atomic.Pointer[watch.Loop] // the loop, once it gives the time
	sending    sending
	outage     time.Time         // since when the journal could not be opened; zero: it could
	fromMemory *notify.Sender    // tells of that; nil: sending does
	forward    *influx.Forwarder // nil: no database
	copies     *journal.Copies   // nil: none are made
	socket     controlSocket
	web        *webServer // nil: no page
	page       *page.Page // likewise
	often      *often
}

// A clockwork is the one place from which the daemon's parts take the time.
type clockwork struct {
	now     func() time.Time
	speed   float64        // how much faster than real time; 0: as fast
	sources *clock.Sources // of a machine whose wall clock may be wrong; nil: now is right
}

// intake is what the loop hears: a subscriber or a broker of our own.
type intake interface {
	watch.Source
	Run(ctx context.Context) error
	Answer(*ingest.Answer)
}

// open builds all parts, in the order in which readings flow, and starts none.
func (d *daemon) open(ctx context.Context, cfg *config.Config) (err error) {
	d.cfg.Store(cfg)
	d.sealed, d.often = sealsOf(cfg), newOften(d)
	defer func() {
		if err != nil {
			d.closeParts()
		}
	}()
	for _, open := range []func(context.Context, *config.Config) error{
		d.openJournal, d.openSender, d.openIntake, d.openLoop, d.openInflux, d.openCopies, d.openWeb,
	} {
		if err := open(ctx, cfg); err != nil {
			return err
		}
	}
	return d.socket.open(cfg, runningDaemon{d})
}

func (d *daemon) openJournal(ctx context.Context, cfg *config.Config) error {
	if err := plainJournal(cfg.Journal.Path); err != nil {
		return err
	}
	boot, err := journal.ReadBoot(time.Now())
	if err != nil {
		return err
	}
	d.journal, err = journal.Open(ctx, journal.Config{
		Path: cfg.Journal.Path, Keep: cfg.Journal.Keep, Log: d.log, Now: d.clock.now, Boot: boot,
	})
	if err != nil {
		return wayBack(ctx, cfg, err)
	}
	if err := d.openedBy(ctx, versionName(), changes); err != nil {
		return err
	}
	return d.journal.SetFarm(ctx, &cfg.Farm)
}

// plainJournal refuses a path at which there is no file and can't be one.
func plainJournal(path string) error {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist): // it is begun
		return nil
	case err != nil:
		return fmt.Errorf("open journal: %w", err)
	case !info.Mode().IsRegular():
		return fmt.Errorf("open journal: %s is no plain file; journal.path names one", path)
	}
	return nil
}

// openIntake becomes the broker for the probes, or gets ready to call one.
func (d *daemon) openIntake(_ context.Context, cfg *config.Config) (err error) {
	var o opener
	b, decoder := cfg.Broker, ingest.NewDecoder(&cfg.Farm, cfg.Broker.Prefix)
	password := o.reveal("broker password", b.Password)
	if b.Listen == "" {
		tc, err := clientTLS(b.TLS)
		if err != nil {
			err = fmt.Errorf("broker: %w", err)
		}
		if err = cmp.Or(o.err(), err); err != nil {
			return err
		}
		tc.Time = d.certificates
		d.intake = ingest.NewSource(ingest.SourceConfig{
			BrokerSettings: b, Password: password, TLS: tc, Filters: decoder.Filters(),
			Marker: ingest.MarkerTopic(b.Prefix, b.ClientID), Log: d.log, Now: time.Now,
		})
		return nil
	}
	lc := ingest.ListenerConfig{
		Address: b.Listen, Login: ingest.Login{User: b.User, Password: password},
		Topics: decoder.Topics(), Prefix: b.Prefix, Log: d.log, Now: d.now,
	}
	if k := b.Keeper; k != nil {
		lc.Keeper = ingest.Login{User: k.User, Password: o.reveal("password of the broker's keeper", k.Password)}
	}
	lc.People = loginsOf(peopleOf(cfg, &o))
	if err := o.err(); err != nil {
		return err
	}
	probes, err := ingest.Listen(lc)
	if err == nil {
		d.intake = probes
	}
	return err
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

func (d *daemon) openLoop(ctx context.Context, cfg *config.Config) error {
	name, err := digest(cfg)
	if err != nil {
		return err
	}
	d.loop, err = watch.New(ctx, watch.Config{
		Farm: &cfg.Farm, File: whole(d.path), Digest: name, Prefix: cfg.Broker.Prefix, Flush: cfg.Journal.Flush, Journal: d.journal, Source: d.intake,
		Owes: d.owes, Answer: d.intake.Answer, TellNow: d.tellAtOnce, Said: d.say, Took: d.farms.take, Moved: d.moved, Log: d.log, Now: d.clock.now, Speed: d.clock.speed,
		Clock: d.clock.sources, Built: built, Outage: d.outage,
	})
	if err == nil {
		d.timed.Store(d.loop)
	}
	return err
}

// moved has the database get what bears other times now.
func (d *daemon) moved(from int64) {
	if d.forward != nil {
		d.forward.Again(from)
	}
}

// owes lists who is to be told of a change under the tellers in force.
func (d *daemon) owes(ch farm.Change) []farm.Owed {
	return notify.OwedFor(d.sending.now().tellers, ch, d.now())
}

func (d *daemon) say(changes []farm.Change) {
	for _, ch := range changes {
		d.log.Info("condition "+string(ch.Change), "bin", ch.Bin, "zone", ch.Zone, "probe", ch.Probe,
			"condition", ch.Condition, "urgency", ch.Urgency.String(), "text", ch.Text)
	}
	if d.said != nil {
		d.said(changes)
	}
}

// serve runs all parts until ctx ends or one of them fails, then stops them in
// the order in which readings flow: what waits is committed and acknowledged
// before the broker is left, and the journal closes last.
func (d *daemon) serve(ctx context.Context) error {
	collectOften()
	stopping := context.AfterFunc(ctx, func() { d.tell("stopping", d.manager.Stopping()) })
	defer stopping()
	err := runParts(ctx, d.parts())
	return errors.Join(err, d.close())
}

// parts are what runs, in the order in which it is stopped.
func (d *daemon) parts() []part {
	forward, web, copies := idle, idle, idle
	if d.forward != nil {
		forward = d.forward.Run
	}
	if d.web != nil {
		web = d.web.run
	}
	if d.copies != nil {
		copies = d.runCopies
	}
	return []part{
		{"watchdog", d.feedWatchdog}, {"loop", d.loop.Run}, {"intake", d.intake.Run}, {"influx", forward},
		{"notices", d.sending.run}, {"compaction", every(time.Hour, d.compact)}, {"copies", copies}, {"control", every(5*time.Second, d.keepSocket)},
		{"memory", every(giveBackEvery, d.giveBack)}, {"page", web},
	}
}

// feedWatchdog gives the service manager its sign of life: the loop that writes the
// journal answers.
func (d *daemon) feedWatchdog(ctx context.Context) error {
	return d.manager.Feed(ctx, d.loop.Alive, d.log)
}

// close ends what open began, the journal last.
func (d *daemon) close() error { return errors.Join(d.socket.close(), d.closeParts()) }

// closeParts ends all but the socket for commands, at which a waiting daemon may answer.
// Parts that were never opened are passed over.
func (d *daemon) closeParts() error {
	var errs []error
	if probes, ok := d.intake.(*ingest.Listener); ok {
		probes.Close()
	}
	if d.web != nil {
		errs = append(errs, d.web.close())
	}
	if d.journal != nil {
		errs = append(errs, d.journal.Close())
	}
	return errors.Join(errs...)
}

// keepSocket sees to it that commands find the daemon.
func (d *daemon) keepSocket(context.Context) {
	if err := d.socket.keep(); err != nil {
		d.log.Warn("the socket for commands is gone and can't be made again", "error", err)
	}
}

// compact packs old readings, so that the journal stays small.
func (d *daemon) compact(ctx context.Context) {
	// While the time is not sure, what looks old may have been heard an hour ago.
	if _, err := d.journal.Compact(ctx, d.now(), d.loop.TimeSure()); err != nil && ctx.Err() == nil {
		d.log.Warn("history not packed; it is tried again in an hour", "error", err)
	}
}

// look gives how the farm stands, for those who can do without.
func (d *daemon) look() (farm.View, bool) { return inTime(d.glance) }

// glance gives how the farm stands, with what never reached the loop.
func (d *daemon) glance(ctx context.Context) (farm.View, error) {
	v, err := d.loop.Look(ctx)
	if sender := d.sending.now(); sender != nil {
		v.Recipients = sender.Recipients()
	}
	if d.copies != nil {
		state := d.copies.State()
		v.Copies = &state
	}
	v.Changed = d.news(changes, v.At)
	if probes, ok := d.intake.(*ingest.Listener); ok && err == nil && probes.Refused() > 0 {
		v.Intake.Messages[messageRefused] = probes.Refused()
	}
	return v, err
}

// messageRefused is the outcome of messages whose sender may not publish them.
const messageRefused = "refused"

// inTime looks at something, unless that takes too long.
func inTime[T any](look func(context.Context) (T, error)) (T, bool) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	v, err := look(ctx)
	return v, err == nil
}

// view gives how the farm stands, the copying to the database included. What was
// refused is read from the journal; where that fails, the rest is shown.
func (d *daemon) view(ctx context.Context) (farm.View, error) {
	v, err := d.glance(ctx)
	if err != nil {
		return v, err
	}
	v = d.reckoned(ctx, v)
	if d.forward == nil {
		return v, nil
	}
	if v.Passing, err = refusals(ctx, d.journal); err != nil {
		d.log.Warn("refused rows not read", "error", err)
		v.Passing = &farm.PassingOn{}
	}
	v.Passing.Trouble = d.forward.Figures().Trouble
	return v, nil
}

// reckoned is how the farm stands with the castings account and what bins suffer from together. What can't be read of the
// journal is left out: the rest is shown.
func (d *daemon) reckoned(ctx context.Context, v farm.View) farm.View {
	f := &d.cfg.Load().Farm
	with, err := withNeeds(ctx, d.journal, f, v)
	if err != nil {
		d.log.Warn("castings not reckoned", "error", err)
	}
	if with, err = withCauses(ctx, d.journal, f, with); err != nil {
		d.log.Warn("the air of bins not read", "error", err)
	}
	return with
}

// rounds gives today's care list.
func (d *daemon) rounds() (farm.Rounds, bool) {
	v, ok := inTime(d.glance)
	if !ok {
		return farm.Rounds{}, false
	}
	v, _ = inTime(func(ctx context.Context) (farm.View, error) { return d.reckoned(ctx, v), nil })
	return rounds.List(v, d.cfg.Load().Farm.Dates()), true
}

// A part is one goroutine of the daemon. It returns when its context ends.
type part struct {
	name string
	run  func(context.Context) error
}

// idle runs nothing: a part that is not configured.
func idle(context.Context) error { return nil }

// runParts runs all parts until ctx ends or one of them fails, then ends them
// one after the other in the order given. The error is the first failure.
func runParts(ctx context.Context, parts []part) error {
	failed := make(chan error, len(parts))
	var stops []func()
	for _, p := range parts {
		stops = append(stops, start(ctx, p, failed))
	}
	var first error
	select {
	case <-ctx.Done():
	case first = <-failed:
	}
	for _, stop := range stops {
		stop()
	}
	return first
}

// every makes a part of what is to be done now and then, first after d.
func every(d time.Duration, do func(context.Context)) func(context.Context) error {
	return func(ctx context.Context) error {
		turn := time.NewTicker(d)
		defer turn.Stop()
		for {
			select {
			case <-ctx.Done():
				return nil
			case <-turn.C:
				do(ctx)
			}
		}
	}
}

// start runs one part; stop ends it and waits until it has ended.
func start(ctx context.Context, p part, failed chan<- error) (stop func()) {
	own, cancel := context.WithCancel(context.WithoutCancel(ctx))
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := p.run(own); err != nil && !errors.Is(err, context.Canceled) {
			failed <- fmt.Errorf("%s: %w", p.name, err)
		}
	}()
	return func() {
		cancel()
		<-done
	}
}
