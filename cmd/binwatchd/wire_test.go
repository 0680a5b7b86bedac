package main

import (
	"io"
	"math/rand/v2"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"binwatchd/internal/proctest"
)

// A wire is what lies between the daemon and its broker: it can be slow, and it can carry
// nothing at all while both ends take it for a connection.
type wire struct {
	url string
	to  string

	mu    sync.Mutex
	how   pass
	moved chan struct{} // closed when how changes
}

type pass int

const (
	flows pass = iota
	slow       // each piece takes up to a fifth of a second
	holds      // nothing passes
)

func startWire(t *testing.T, to string) *wire {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	w := &wire{url: "tcp://" + l.Addr().String(), to: to, moved: make(chan struct{})}
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go w.join(c)
		}
	}()
	return w
}

// join carries one connection until either end closes it.
func (w *wire) join(in net.Conn) {
	defer in.Close()
	w.waits()
	out, err := net.Dial("tcp", w.to)
	if err != nil {
		return
	}
	defer out.Close()
	done := make(chan struct{}, 2)
	for _, ends := range [][2]net.Conn{{in, out}, {out, in}} {
		go func() {
			_, _ = io.Copy(slowly{ends[0], w}, ends[1])
			done <- struct{}{}
		}()
	}
	<-done
}

// slowly writes as the wire passes.
type slowly struct {
	net.Conn
	wire *wire
}

func (s slowly) Write(p []byte) (int, error) {
	s.wire.waits()
	return s.Conn.Write(p)
}

// waits lets time pass as the wire takes it.
func (w *wire) waits() {
	for {
		w.mu.Lock()
		how, moved := w.how, w.moved
		w.mu.Unlock()
		switch how {
		case flows:
			return
		case slow:
			<-time.After(rand.N(200 * time.Millisecond))
			return
		case holds:
			<-moved
		}
	}
}

func (w *wire) set(how pass) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.how = how
	close(w.moved)
	w.moved = make(chan struct{})
}

// slowBroker has every piece take its time, both ways.
func (c *chaos) slowBroker() {
	c.wire.set(slow)
	c.load.sends(c.some(200))
	c.wire.set(flows)
}

// muteBroker has the broker take connections and never answer, also when the daemon
// comes up.
func (c *chaos) muteBroker() {
	c.stopDaemon()
	c.wire.set(holds)
	c.startDaemon()
	c.load.sends(c.some(200))
	c.daemon.Says("broker lost")
	c.wire.set(flows)
	c.daemon.Says("broker reached")
}

// loseStore has the broker come back knowing nobody: what goes out until the daemon has
// subscribed anew reaches nobody, and the log says that what waited is lost.
func (c *chaos) loseStore() {
	c.daemon.Says("broker reached")
	c.load.pace(0)
	c.settled("nothing is queued before the store is lost")
	c.kept.read()
	after := c.kept.last
	c.broker.Kill()
	c.broker.Forget()
	told := c.said("does not know us any more")
	c.broker.Start()
	c.load.pace(usualPace)
	proctest.Eventually(c.t, "the lost store is told of", func() bool { return c.said("does not know us any more") > told })
	c.load.pace(0)
	c.gaps = append(c.gaps, gap{after, c.load.tried() + 1})
	c.load.pace(usualPace)
}

// said is how often the running daemon's log has said something.
func (c *chaos) said(what string) int { return strings.Count(c.daemon.Log.String(), what) }

// rival starts a second daemon under the same client id, with a journal of its own: each
// throws the other out, and what the broker gives to either is kept by that one.
func (c *chaos) rival() {
	c.daemon.Says("broker reached")
	dir := c.t.TempDir()
	other := newLedger(c.t, dir+"/journal.db")
	cfg := write(c.t, dir, "binwatchd.yaml", rivalYAML(c.broker.URL, other.path))
	second := startChild(c.t, nil, "run", "--config", cfg)
	second.Says("broker reached")
	c.load.sends(c.some(400))
	proctest.Eventually(c.t, "the log names the likely cause", func() bool {
		return c.said("another program may be using the client_id") > 0 || strings.Contains(second.Log.String(), "another program may be using the client_id")
	})
	second.Stop()
	other.read()
	for n, times := range other.times {
		c.elsewhere[n]++
		if times > 1 {
			c.t.Errorf("number %d is in the rival's journal %d times", n, times)
		}
	}
}

func rivalYAML(broker, journal string) string {
	return strings.Join([]string{
		"farm: Hillfoot Nursery", "timezone: UTC", `broker: {url: "` + broker + `"}`, `journal: {path: "` + journal + `", flush: 1s}`,
		"probes:", "  n: {topic: chaos/n, value: /v, time: /at, measures: temperature, every: 1h}", strings.TrimSuffix(batteryProbes(), "\n"),
		"bins:", "  bed: {species: red, zones: {all: {aim: living, probes: [n]}}}", "",
	}, "\n")
}
