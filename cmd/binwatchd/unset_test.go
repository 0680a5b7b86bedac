package main

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/clock"
	"binwatchd/internal/config"
	"binwatchd/internal/proctest"
)

const unsetYAML = `farm: Hillfoot Nursery
timezone: UTC
broker: {url: %q}
journal: {path: %q, flush: 1s}
mail: {server: %q, from: bins@example.org, user: bins, password: {file: %q}, ca: %q}
probes:
  bed-t: {topic: glass/bed, measures: temperature}
  cell-a: {topic: glass/a, measures: battery, low: 3.3}
  cell-b: {topic: glass/b, measures: battery, low: 3.3}
bins:
  bed: {species: red, zones: {near: {aim: living, probes: [bed-t]}}}
tell:
  - {mail: keeper@example.org, about: [now, today, soon]}
`

// A turned clock is the machine's, wrong by as much as a test says.
type turnedClock struct{ off atomic.Int64 }

func (c *turnedClock) sources() clock.Sources {
	began := time.Now()
	return clock.Sources{
		Wall:      func() time.Time { return time.Now().Add(time.Duration(c.off.Load())) },
		SinceBoot: func() time.Duration { return 3*time.Hour + time.Since(began) },
		Synced:    func() bool { return c.off.Load() == 0 },
	}
}

// runAt runs a daemon by a clock until stop is called, once it is connected. Only
// its ticks are hurried: it looks at the clock each second.
func runAt(t *testing.T, cfg *config.Config, sources clock.Sources) (d *daemon, stop func()) {
	t.Helper()
	d = &daemon{log: slog.New(slog.DiscardHandler), clock: clockwork{now: sources.Wall, speed: 60, sources: &sources}}
	ctx, cancel := context.WithCancel(t.Context())
	if err := d.open(ctx, cfg); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- d.serve(ctx) }()
	proctest.Eventually(t, "the daemon is connected", func() bool { v, ok := d.look(); return ok && v.Intake.Connected })
	return d, func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("daemon ended with %v", err)
		}
	}
}

// A machine comes up by a clock that is wrong, and nobody sets it: what is owed
// goes out all the same, over TLS, and bears a date that can be. By a clock that
// is so far ahead that no certificate holds, it waits, and goes out once when the
// clock is right.
func TestKeeperIsToldByAWrongClock(t *testing.T) {
	t.Parallel() // it waits more than it works
	const day = 24 * time.Hour
	for name, off := range map[string]time.Duration{
		"an hour behind": -time.Hour, "400 days behind": -400 * day, "in 1970": -time.Since(time.Unix(20, 0)),
		"two hours ahead": 2 * time.Hour, "a year ahead": 365 * day,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			broker, box := brokertest.StartMosquitto(t, brokertest.Options{}), startMailbox(t)
			dir := t.TempDir()
			path := write(t, dir, "farm.yaml", fmt.Sprintf(unsetYAML, broker.URL, filepath.Join(dir, "journal.db"), box.addr, write(t, dir, "mail.secret", mailPassword), box.ca))
			cfg, err := config.Load(path, config.ForRun)
			if err != nil {
				t.Fatal(err)
			}
			probe := brokertest.Client(t, broker.URL, "glass", "", "")
			defer probe.Disconnect(50)
			say := func(topic, payload string) { brokertest.Done(t, "publish", probe.Publish(topic, 1, false, payload)) }

			var machine turnedClock
			d, stop := runAt(t, cfg, machine.sources()) // before the power cut
			say("glass/bed", "21.5")
			proctest.Eventually(t, "a reading is known", func() bool { v, ok := d.look(); return ok && v.Intake.Messages["taken"] == 1 })
			stop()

			machine.off.Store(int64(off))
			d, stop = runAt(t, cfg, machine.sources())
			defer stop()
			say("glass/a", "2.9")
			if far := off > day; far {
				proctest.Eventually(t, "a mail can't be delivered", func() bool {
					recipients := d.sending.now().Recipients()
					return len(recipients) == 1 && recipients[0].Trouble != ""
				})
				v, err := d.view(t.Context()) // what now, page and metrics show
				if said := strings.Join(v.Unreached(cfg.Farm.Dates()), "\n"); err != nil || !strings.Contains(said, "certificate has expired") {
					t.Errorf("got %q, %v, want it to say what is wrong with the certificate", said, err)
				}
				machine.off.Store(0)
				proctest.Eventually(t, "the clock is followed", func() bool { return time.Since(d.now()).Abs() < time.Minute })
				say("glass/b", "2.9") // whatever comes up next has the worker look again
			}
			proctest.Eventually(t, "the keeper is told", func() bool { return len(box.all()) > 0 })
			m := box.all()[0]
			date, err := m.Header.Date()
			if wrong := min(off.Abs(), 2*time.Hour+time.Minute); err != nil || time.Since(date).Abs() > wrong {
				t.Errorf("got a mail of %s, %v; want it within %s of now", m.Header.Get("Date"), err, wrong)
			}
			if subject := m.Header.Get("Subject"); !strings.Contains(strings.ToLower(subject), "battery") {
				t.Errorf("got a mail about %q", subject)
			}
			if n, err := d.journal.Waiting(t.Context()); err != nil || off < day && len(n) > 0 && n[0].Tries > 1 {
				t.Errorf("got %+v, %v still owed", n, err)
			}
		})
	}
}
