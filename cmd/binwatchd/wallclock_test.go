package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"binwatchd/internal/clock"
	"binwatchd/internal/farm"
	"binwatchd/internal/proctest"
)

// wallClockMark names the file of a child's [wallClock]; none: the machine's.
const wallClockMark = "BINWATCHD_WALL_CLOCK"

// childMain runs the program in a child, the daemon by the clock of the test.
func childMain() int {
	if os.Getenv(compactsMark) != "" {
		return compactingMain()
	}
	path := os.Getenv(wallClockMark)
	if path == "" || len(os.Args) < 2 || os.Args[1] != "run" {
		return Main()
	}
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	s := &streams{os.Stdin, os.Stdout, os.Stderr}
	c := runCommand(wallClock{path}.sources())
	return exitCode(c, c.do(ctx, os.Args[2:], s), s)
}

// A wallClock is that of a machine on which somebody sets it wrong: a file says
// by how much. A wrong one is not called synchronised, as Linux has it when the
// time is set by hand (adjtimex(2), STA_UNSYNC).
type wallClock struct{ path string }

func newWallClock(t *testing.T) wallClock {
	c := wallClock{filepath.Join(t.TempDir(), "clock")}
	c.set(t, 0)
	return c
}

// set makes the clock wrong by some time, in one step.
func (c wallClock) set(t *testing.T, off time.Duration) {
	t.Helper()
	next := c.path + ".next"
	if err := os.WriteFile(next, []byte(off.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(next, c.path); err != nil {
		t.Fatal(err)
	}
}

// off is how wrong the clock is, in the child.
func (c wallClock) off() time.Duration {
	text, err := os.ReadFile(c.path)
	if err != nil {
		panic(fmt.Sprintf("read the clock: %v", err))
	}
	off, err := time.ParseDuration(string(text))
	if err != nil {
		panic(fmt.Sprintf("read the clock: %v", err))
	}
	return off
}

func (c wallClock) sources() clock.Sources {
	kernel := clock.Kernel()
	return clock.Sources{
		Wall:      func() time.Time { return kernel.Wall().Add(c.off()) },
		SinceBoot: kernel.SinceBoot,
		Synced:    func() bool { return c.off() == 0 },
	}
}

// setClock has the wall clock wrong for a while, under a running daemon, which
// looks at it each minute: in a long soak some of these are seen.
func (c *chaos) setClock(off time.Duration) {
	c.daemon.Says("watching")
	c.clock.set(c.t, off)
	c.load.sends(c.some(200))
	c.clock.set(c.t, 0)
}

// startWithClock has the daemon come up with a wrong wall clock, which is put
// right under it. One that is behind was not followed in the first place: time
// goes on from the journal's end.
func (c *chaos) startWithClock(off time.Duration) {
	c.stopDaemon()
	c.clock.set(c.t, off)
	c.startDaemon()
	c.daemon.Says("broker reached")
	c.load.sends(50 + c.some(200)) // with batteries among them, which bear no time
	c.clock.set(c.t, 0)
	if off > 0 { // it looks each minute
		proctest.Eventually(c.t, "the clock is put right", func() bool { return strings.Contains(c.daemon.Log.String(), "clock put right") })
	}
}

// checkTimes: when the clock has been right for the last while, no reading bears
// a wrong time, whatever the clock was when it came.
func (c *chaos) checkTimes() {
	c.t.Helper()
	j := c.kept.open()
	defer j.Close()
	now, wrong := time.Now(), 0
	err := j.Replay(context.Background(), 0, func(e farm.Event) error {
		at := e.Reading.At
		if e.Kind != farm.EventReading || at.After(c.began.Add(-time.Minute)) && at.Before(now.Add(time.Minute)) {
			return nil
		}
		if wrong++; wrong <= 5 {
			c.t.Errorf("event %d: %s measured at %s, want between %s and %s", e.Seq, e.Reading.Probe,
				at.Format(time.RFC3339), c.began.UTC().Format(time.RFC3339), now.UTC().Format(time.RFC3339))
		}
		return nil
	})
	if err != nil || wrong > 0 {
		c.t.Errorf("%d readings bear a wrong time (%v)", wrong, err)
	}
}
