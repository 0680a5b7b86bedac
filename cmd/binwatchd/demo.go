package main

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"sync/atomic"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/demo"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

const (
	demoHost = "127.0.0.1"
	demoPort = 8338 // of the page, or the next that is free
	demoSeed = 1
)

func demoWork(fs *flag.FlagSet) work {
	var set demoSettings
	fs.StringVar(&set.listen, "listen", "", "`ADDR` of the page and the metrics (default "+demoPage(demoPort)+" or the next free port)")
	fs.IntVar(&set.days, "days", 30, "days `N` of history")
	fs.DurationVar(&set.long, "for", 0, "end after `DURATION` (default: at Ctrl-C)")
	fs.Float64Var(&set.speed, "speed", 1200, "how many times `N` faster than life it goes")
	wanted := func() error {
		return cmp.Or(
			misuseIf(set.days < 1 || set.days > 400, "--days wants 1 to 400"),
			misuseIf(set.speed < 1 || set.speed > 3600, "--speed wants 1 to 3600"),
			misuseIf(set.long < 0, "--for wants a time to come"),
		)
	}
	return work{flags: wanted, run: func(ctx context.Context, c *call) error { return runDemo(ctx, set, c.streams) }}
}

type demoSettings struct {
	listen string
	days   int
	long   time.Duration
	speed  float64
}

func runDemo(ctx context.Context, set demoSettings, s *streams) error {
	dir, err := os.MkdirTemp("", "binwatchd-demo-")
	if err != nil {
		return fmt.Errorf("make a folder for the demo: %w", err)
	}
	defer os.RemoveAll(dir)
	now := time.Now().UTC().Truncate(time.Minute)
	sim := demo.New(demoSeed, now.AddDate(0, 0, -set.days))
	cfg, err := demoConfig(sim, dir, set.listen)
	if err != nil {
		return err
	}
	story := &account{out: s.out, loc: cfg.Farm.Location}
	watchClock := newDemoClock(sim.Start())
	d := &daemon{log: slog.New(slog.DiscardHandler), clock: clockwork{now: watchClock.now, speed: set.speed}, said: story.tell}
	if err := d.open(ctx, cfg); err != nil {
		return err
	}
	if err := story.history(ctx, d, sim, watchClock, now); err != nil {
		return errors.Join(err, d.close())
	}
	fmt.Fprintf(s.out, "\nNow live, %g times as fast as life: ten minutes pass in %s.\nPage and metrics: http://%s/ and http://%s/metrics\n\n",
		set.speed, time.Duration(float64(10*time.Minute)/set.speed).Round(time.Millisecond), cfg.Page.Listen, cfg.Page.Listen)
	watchClock.set(demo.Hasten(time.Now, now, set.speed))
	return live(ctx, d, sim, set, watchClock, story)
}

// live lets the nursery publish through real MQTT until the demo ends.
func live(ctx context.Context, d *daemon, sim *demo.Sim, set demoSettings, c *demoClock, story *account) error {
	if set.long > 0 {
		var stop func()
		ctx, stop = context.WithTimeout(ctx, set.long)
		defer stop()
	}
	served := make(chan error, 1)
	serving, end := context.WithCancel(context.WithoutCancel(ctx))
	defer end()
	go func() { served <- d.serve(serving) }()
	err := publish(ctx, "tcp://"+d.intake.(*ingest.Listener).Addr().String(), sim, set.speed, c)
	view, _ := d.look()
	end()
	err = errors.Join(err, <-served)
	story.end(view)
	return err
}

// publish plays the nursery to the broker; the end of the demo is no error.
func publish(ctx context.Context, url string, sim *demo.Sim, speed float64, c *demoClock) error {
	radio, err := demo.Dial(ctx, url, "hillfoot-probes")
	if err == nil {
		defer radio.Close()
		err = sim.Play(ctx, radio, speed, c.now)
	}
	if ctx.Err() != nil {
		return nil
	}
	return err
}

// demoConfig is the nursery's configuration, with a free port for everything.
// Its probes speak to a broker of the demo's own.
func demoConfig(sim *demo.Sim, dir, listen string) (cfg *config.Config, err error) {
	switch host, port, _ := net.SplitHostPort(listen); {
	case listen == "":
		listen, err = freePage()
	case port == "0": // any that is free
		listen, err = freeAt(net.JoinHostPort(cmp.Or(host, demoHost), port))
	}
	if err != nil {
		return nil, err
	}
	path := filepath.Join(dir, "hillfoot.yaml")
	text := sim.YAML(demo.Places{Broker: "tcp://127.0.0.1:1883", Journal: filepath.Join(dir, "journal.db"), Listen: listen})
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		return nil, fmt.Errorf("write the demo's configuration: %w", err)
	}
	if cfg, err = config.Load(path, config.ForRun); err != nil {
		return nil, err
	}
	cfg.Broker.URL, cfg.Broker.Listen = "", "127.0.0.1:0"
	return cfg, nil
}

// freePage gives the first address for the page that is free.
func freePage() (string, error) {
	for port := range 100 {
		try := demoPage(demoPort + port)
		if ln, err := net.Listen("tcp", try); err == nil {
			return try, ln.Close()
		}
	}
	return "", fmt.Errorf("no port is free from %s on; name one with --listen", demoPage(demoPort))
}

// freeAt gives an address with the port that the system chooses for one with port 0.
func freeAt(listen string) (string, error) {
	ln, err := net.Listen("tcp", listen)
	if err != nil {
		return "", fmt.Errorf("find a free port at %s: %w", listen, err)
	}
	return ln.Addr().String(), ln.Close()
}

func demoPage(port int) string { return net.JoinHostPort(demoHost, strconv.Itoa(port)) }

// A demoClock shows the time of the history while that is made, then goes on
// faster than life.
type demoClock struct {
	tell atomic.Pointer[func() time.Time]
}

func newDemoClock(t time.Time) *demoClock {
	c := &demoClock{}
	c.set(func() time.Time { return t })
	return c
}

func (c *demoClock) now() time.Time { return (*c.tell.Load())() }

func (c *demoClock) set(tell func() time.Time) { c.tell.Store(&tell) }

// An account tells a person what is noticed.
type account struct {
	out  io.Writer
	loc  *time.Location
	last string // the day of the last line
}

// history has the daemon live through the days before now, all at once.
func (a *account) history(ctx context.Context, d *daemon, sim *demo.Sim, c *demoClock, now time.Time) error {
	f := d.cfg.Load().Farm
	fmt.Fprintf(a.out, "%s: %s, %s. Living through %s until today ...\n", f.Name, farm.SayCount(len(f.Bins), "bin"), farm.SayCount(len(f.Probes), "probe"), farm.SayLong(now.Sub(sim.Start())))
	n := 0
	var err error
	sim.Until(now, func(m demo.Message) {
		if err != nil {
			return
		}
		n++
		c.set(func() time.Time { return m.At })
		err = d.loop.Relive(ctx, &ingest.Delivery{Topic: m.Topic, Payload: m.Payload, Arrived: m.At, Ack: func() {}})
	})
	if err == nil {
		err = d.loop.Relived(ctx)
	}
	if err != nil {
		return err
	}
	_, err = d.journal.Compact(ctx, now, true)
	fmt.Fprintf(a.out, "\n%d messages read and judged.\n", n)
	return err
}

// tell writes what is worth a person's time: what is urgent, and its end.
func (a *account) tell(changes []farm.Change) {
	for _, ch := range changes {
		if ch.Urgency < farm.Today {
			continue
		}
		at := ch.At.In(a.loc)
		if day := at.Format("Monday 2 January"); day != a.last {
			a.last = day
			fmt.Fprintf(a.out, "\n%s\n", day)
		}
		fmt.Fprintf(a.out, "  %s  %-9s %s\n", at.Format("15:04"), ch.Change, ch.Text)
		if ch.Change != farm.Eased && ch.Advice != nil && ch.Advice.Do != "" {
			fmt.Fprintf(a.out, "         %-9s %s\n", "", ch.Advice.Do)
		}
	}
}

// end sums up.
func (a *account) end(v farm.View) {
	var believed, doubted int64
	for _, p := range v.Probes {
		believed += p.Counts[farm.OutcomeBelieved]
		doubted += p.Counts[farm.OutcomeDoubted]
	}
	fmt.Fprintf(a.out, "\nThe demo ends. %d readings believed, %d doubted, %d conditions raised now.\n", believed, doubted, len(v.Standing))
}
