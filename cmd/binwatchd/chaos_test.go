package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/farm"
	"binwatchd/internal/influxtest"
	"binwatchd/internal/proctest"
)

const chaosYAML = `farm: Hillfoot Nursery
timezone: UTC
broker: {url: %q}
journal: {path: %q, flush: 1s}
control: %q
influx: {url: %q, flavour: v1, database: bins}
probes:
  n: {topic: chaos/n, value: /v, time: /at, measures: temperature, every: 1h}
%sbins:
  bed: {species: red, zones: {all: {aim: living, probes: [n]}}}
tell:
  - {webhook: %q, secret: {env: CHAOS_HOOK}, about: [now, today, soon]}
`

// A chaos is the daemon, everything it talks to, and a load, with the means to
// harm each.
type chaos struct {
	t      *testing.T
	dice   *rand.Rand
	broker *brokertest.Broker
	wire   *wire // between it and the daemon
	influx *influxtest.Influxd
	hook   *hook
	load   *stream
	kept   *ledger
	clock  wallClock
	began  time.Time
	disk   string // where the journal's file system is mounted
	cfg    string
	daemon *proctest.Process

	kills int   // of the daemon
	cries int   // notices from memory that are due
	gaps  []gap // that kills of the broker made

	elsewhere map[int]int // numbers that a rival has kept
}

// A harm is one thing that goes wrong, with its mending.
type harm struct {
	name string
	do   func(*chaos)
}

// harms lists some of each kind, and in a soak all of them. Each leaves
// everything running, not everything settled: the next may come into the middle
// of a recovery.
func harms(all bool) []harm {
	some := []harm{
		{"broker killed", (*chaos).killBroker},
		{"database killed", func(c *chaos) { c.influx.Kill(); c.load.sends(c.some(200)); c.influx.Start() }},
		{"daemon killed on a full disk", (*chaos).killOnFullDisk},
		{"configuration reloaded", func(c *chaos) { c.daemon.Says("watching"); hangup(c.t, c.daemon) }},
		{"clock set back", func(c *chaos) { c.setClock(-c.days()) }},
		{"daemon started with a clock ahead", func(c *chaos) { c.startWithClock(c.days()) }},
	}
	if !all {
		return some
	}
	return append(some, []harm{
		{"broker stopped", (*chaos).stopBroker},
		{"database stopped", func(c *chaos) { c.influx.Stop(); c.load.sends(c.some(200)); c.influx.Start() }},
		{"daemon stopped", func(c *chaos) { c.stopDaemon(); c.load.sends(c.some(200)); c.startDaemon() }},
		{"daemon killed", func(c *chaos) { c.daemon.End(syscall.SIGKILL); c.kills++; c.load.sends(c.some(200)); c.startDaemon() }},
		{"broker and daemon stopped", func(c *chaos) { c.broker.Stop(); c.stopDaemon(); c.broker.Start(); c.startDaemon() }},
		{"disk full", (*chaos).fillDisk},
		{"clock set ahead", func(c *chaos) { c.setClock(c.days()) }},
		{"daemon started with a clock behind", func(c *chaos) { c.startWithClock(-c.days()) }},
		{"broker slow", (*chaos).slowBroker},
		{"broker mute", (*chaos).muteBroker},
		{"broker's store lost", (*chaos).loseStore},
		{"two of one client id", (*chaos).rival},
		{"probe storm", func(c *chaos) { c.load.pace(100); c.load.sends(2000); c.load.pace(usualPace) }},
	}...)
}

const usualPace = 4 // numbers a beat: 200 a second

// some is a number up to n.
func (c *chaos) some(n int) int { return 1 + c.dice.IntN(n) }

// days are up to three weeks: by more than a month the daemon would not believe
// the probes' own time stamps.
func (c *chaos) days() time.Duration { return time.Duration(c.some(21*24)) * time.Hour }

func startChaos(t *testing.T, dice *rand.Rand) *chaos {
	t.Helper()
	dir := t.TempDir()
	disk := filepath.Join(dir, "disk")
	if err := os.Mkdir(disk, 0o700); err != nil {
		t.Fatal(err)
	}
	mount(t, disk, roomy)
	c := &chaos{
		t: t, dice: dice, clock: newWallClock(t), began: time.Now(), disk: disk, hook: startHook(t), influx: influxtest.StartInfluxd(t, influxtest.Options{}),
		broker: brokertest.StartMosquitto(t, brokertest.Options{Extra: "max_queued_messages 1000000"}),
		kept:   newLedger(t, filepath.Join(disk, "journal.db")), elsewhere: map[int]int{},
	}
	c.wire = startWire(t, c.broker.Addr)
	c.influx.Do("CREATE DATABASE bins")
	c.cfg = write(t, dir, "binwatchd.yaml", fmt.Sprintf(chaosYAML, c.wire.url, c.kept.path, filepath.Join(dir, "door"), c.influx.URL, batteryProbes(), c.hook.url))
	c.startDaemon()
	c.daemon.Says("broker reached") // the session exists from here on
	c.load = startStream(t, c.broker.URL, usualPace)
	return c
}

func (c *chaos) startDaemon() {
	c.daemon = startChild(c.t, []string{"CHAOS_HOOK=" + c.hook.secret, wallClockMark + "=" + c.clock.path}, "run", "--config", c.cfg)
}

// stopDaemon ends the daemon in order; before it is under way it has no order.
func (c *chaos) stopDaemon() {
	c.daemon.Says("watching")
	c.daemon.Stop()
}

// stopBroker ends the broker in order: it saves its sessions and queues, and
// nothing is lost.
func (c *chaos) stopBroker() {
	c.broker.Stop()
	c.broker.Start()
}

// killBroker takes what the broker has not saved: the messages it had
// acknowledged to the probe and not yet handed to the daemon, which is what a
// broker without persistence at each message costs. What the daemon had kept
// stays kept, once. The broker saves just before, while it has nothing queued:
// it would hand out what it has in its store a second time, as new.
func (c *chaos) killBroker() {
	c.load.pace(0)
	c.settled("nothing is queued before the broker is killed")
	c.broker.Save()
	c.load.pace(usualPace)
	c.load.sends(c.some(200))
	c.kept.read()
	after := c.kept.last
	c.broker.Kill()
	c.broker.Start()
	c.gaps = append(c.gaps, gap{after, c.load.tried() + 1})
}

// roomy is a disk for hours of soaking.
const roomy = "size=1g"

// fillDisk lets the disk be full for a while: readings wait at the broker, the
// keeper hears of it once and of its end once.
func (c *chaos) fillDisk() {
	c.daemon.Says("watching")
	squeeze(c.t, c.disk)
	raise := c.cried(farm.Raised)
	c.load.sends(c.some(200))
	c.makeRoom(raise)
}

// killOnFullDisk has the daemon die and come up while nothing can be written.
func (c *chaos) killOnFullDisk() {
	c.daemon.Says("watching")
	squeeze(c.t, c.disk)
	c.cried(farm.Raised)
	c.daemon.End(syscall.SIGKILL)
	c.kills++
	c.startDaemon()
	c.makeRoom(c.cried(farm.Raised)) // the first is forgotten: it was in memory
}

func (c *chaos) makeRoom(raise farm.Change) {
	remount(c.t, c.disk, 0, roomy)
	if ease := c.cried(farm.Eased); ease.Episode != raise.Episode {
		c.t.Errorf("got the easing of %q, want of %q", ease.Episode, raise.Episode)
	}
}

// cried waits for one more notice from memory, and wants no more than that.
func (c *chaos) cried(kind farm.ChangeKind) farm.Change {
	c.t.Helper()
	c.cries++
	proctest.Eventually(c.t, fmt.Sprintf("notice %d from memory, %s", c.cries, kind), func() bool { return len(c.hook.unwritten()) >= c.cries })
	all := c.hook.unwritten()
	last := all[len(all)-1]
	if len(all) != c.cries || last.Change.Change != kind || last.Urgency != farm.Now {
		c.t.Fatalf("got notices from memory %+v, want %d, the last %s at now", all, c.cries, kind)
	}
	return last.Change
}

// settled waits until the journal has all that the broker has accepted.
func (c *chaos) settled(what string) {
	c.t.Helper()
	proctest.Eventually(c.t, what, func() bool {
		c.kept.read()
		return c.kept.last >= c.load.last() || c.lostInGap(c.load.last())
	})
}

// lostInGap tells whether the last number sent so far lies in a gap and is
// thus not waited for.
func (c *chaos) lostInGap(n int) bool {
	return len(c.gaps) > 0 && c.gaps[len(c.gaps)-1].has(n)
}

// Whatever is stopped, restarted or killed while probes publish: what was sent
// is kept, what is kept is forwarded, and each notice is given once.
//
// Some harms of each kind come once, in an order drawn anew each time; SOAK=10m
// brings them all, again and again for so long. CHAOS_SEED repeats an order, if not the instant of each blow.
func TestChaos(t *testing.T) { withOwnMounts(t, testChaos) }

func testChaos(t *testing.T) {
	seed := rand.Uint64()
	if text := os.Getenv("CHAOS_SEED"); text != "" {
		var err error
		if seed, err = strconv.ParseUint(text, 10, 64); err != nil {
			t.Fatalf("CHAOS_SEED: %v", err)
		}
	}
	t.Logf("CHAOS_SEED=%d", seed)
	c := startChaos(t, rand.New(rand.NewPCG(seed, 1)))
	n := 0
	for begin := time.Now(); n == 0 || time.Since(begin) < soak(t); {
		all := harms(soak(t) > 0)
		for _, i := range c.dice.Perm(len(all)) {
			c.load.sends(c.some(100))
			t.Logf("%8s %s", time.Since(begin).Round(10*time.Millisecond), all[i].name)
			all[i].do(c)
			n++
		}
	}
	c.load.sends(200)
	c.load.stop()
	c.finish(n)
}

// soak is how long a person wants the chaos to last.
func soak(t *testing.T) time.Duration {
	t.Helper()
	text := os.Getenv("SOAK")
	if text == "" {
		return 0
	}
	d, err := time.ParseDuration(text)
	if err != nil {
		t.Fatalf("SOAK: %v", err)
	}
	return d
}

// finish lets everything come to rest and counts.
func (c *chaos) finish(n int) {
	c.t.Helper()
	c.settled("all is in the journal")
	proctest.Eventually(c.t, "all is in the database", func() bool { return c.forwarded() >= len(c.kept.at) })
	proctest.Eventually(c.t, "every notice is given", func() bool { return c.owing() == 0 })
	c.daemon.Stop()
	c.kept.read()
	kept, lost := c.kept.check(c.load, c.gaps, c.elsewhere)
	if got, want := c.forwarded(), len(c.kept.at); got != want {
		c.t.Errorf("the database has %d points, want the journal's %d", got, want)
	}
	c.checkTimes()
	told := c.checkNotices()
	if got := len(c.hook.unwritten()); got != c.cries {
		c.t.Errorf("got %d notices from memory, want %d", got, c.cries)
	}
	c.t.Logf("%d harms: %d numbers sent, %d accepted, %d kept, %d lost by a killed broker; %d points; %d notices, %d more from memory",
		n, c.load.tried(), c.load.accepted(), kept, lost, c.forwarded(), told, c.cries)
}

// forwarded is how many points of the load the database has.
func (c *chaos) forwarded() int {
	c.t.Helper()
	rows := c.influx.Query("bins", `SELECT COUNT(raw) FROM bin_levels WHERE probe = 'n'`)
	if len(rows) == 0 {
		return 0
	}
	return int(rows[0][1].(float64))
}
