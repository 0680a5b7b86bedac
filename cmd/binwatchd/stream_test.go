package main

import (
	"fmt"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"binwatchd/internal/farm"
	"binwatchd/internal/proctest"
)

// What is known of a number that was published.
const (
	unsure   = byte(iota + 1) // the broker was lost before it answered
	accepted                  // the broker has acknowledged it
)

// A stream is a probe that publishes rising numbers, each once, with QoS 1 and a
// time stamp of its own, and connects anew when the broker is lost. Beside it
// one battery after the other runs low and is charged half a round later, so
// that conditions come and go and each is told of once.
type stream struct {
	t    *testing.T
	url  string
	done chan struct{}
	gone chan struct{}

	mu    sync.Mutex
	fates []byte // of number i+1
	rate  int    // numbers a beat; 0: paused
}

// batteries is how many there are.
const batteries = 40

// batteryProbes writes them for a configuration.
func batteryProbes() string {
	var b strings.Builder
	for i := range batteries {
		fmt.Fprintf(&b, "  b%d: {topic: chaos/b/%d, measures: battery, low: 3.3, every: 1h, of: [n]}\n", i, i)
	}
	return b.String()
}

// beat is how often the load publishes.
const beat = 20 * time.Millisecond

// startStream publishes some numbers each beat until the test ends.
func startStream(t *testing.T, url string, rate int) *stream {
	l := &stream{t: t, url: url, rate: rate, done: make(chan struct{}), gone: make(chan struct{})}
	go l.run()
	t.Cleanup(l.stop)
	return l
}

// stop ends the load. Twice is harmless.
func (l *stream) stop() {
	l.mu.Lock()
	select {
	case <-l.done:
	default:
		close(l.done)
	}
	l.mu.Unlock()
	<-l.gone
}

// pace sets how many numbers go out each beat; when it returns, nothing that
// went out before waits for an answer.
func (l *stream) pace(rate int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.rate = rate
}

// tried is how many numbers have been published; accepted how many of them the
// broker has.
func (l *stream) tried() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.fates)
}

func (l *stream) accepted() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	n := 0
	for _, f := range l.fates {
		if f == accepted {
			n++
		}
	}
	return n
}

func (l *stream) fate(n int) byte {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.fates[n-1]
}

// last is the last number that the broker has.
func (l *stream) last() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	n := len(l.fates)
	for n > 0 && l.fates[n-1] != accepted {
		n--
	}
	return n
}

func (l *stream) run() {
	defer close(l.gone)
	var client mqtt.Client
	defer func() {
		if client != nil {
			client.Disconnect(50)
		}
	}()
	tick := time.NewTicker(beat)
	defer tick.Stop()
	at := time.Now()
	for {
		select {
		case <-l.done:
			return
		case <-tick.C:
		}
		if client == nil || !client.IsConnectionOpen() {
			if client = l.connect(); client == nil {
				continue
			}
		}
		at = l.burst(client, at)
	}
}

// connect gives nil while the broker can't be reached.
func (l *stream) connect() mqtt.Client {
	o := mqtt.NewClientOptions().AddBroker(l.url).SetAutoReconnect(false).SetConnectTimeout(2 * time.Second).SetWriteTimeout(2 * time.Second)
	c := mqtt.NewClient(o)
	if token := c.Connect(); token.Wait() && token.Error() == nil {
		return c
	}
	return nil
}

// burst publishes one beat's numbers and waits for the answers, holding the
// lock so that nobody sees it half done. The time stamps rise by a
// millisecond at least.
func (l *stream) burst(c mqtt.Client, at time.Time) time.Time {
	l.mu.Lock()
	defer l.mu.Unlock()
	first := len(l.fates) + 1
	var tokens []mqtt.Token
	for n := first; n < first+l.rate; n++ {
		at = at.Add(time.Millisecond)
		if now := time.Now(); now.After(at) {
			at = now
		}
		l.fates = append(l.fates, unsure)
		tokens = append(tokens, c.Publish("chaos/n", 1, false, numbered(n, at)))
	}
	var others []mqtt.Token
	for n := first; n < first+l.rate; n++ {
		if low := n / 50; n%50 == 0 {
			charged := low + batteries/2
			others = append(others, c.Publish(fmt.Sprint("chaos/b/", low%batteries), 1, false, "3.1"),
				c.Publish(fmt.Sprint("chaos/b/", charged%batteries), 1, false, "4.1"))
		}
	}
	for i, token := range tokens {
		if token.WaitTimeout(10*time.Second) && token.Error() == nil {
			l.fates[first-1+i] = accepted
		}
	}
	for _, token := range others {
		token.WaitTimeout(10 * time.Second) // how it went is no matter
	}
	return at
}

// numbered is a message that carries a number as a temperature.
func numbered(n int, at time.Time) string {
	return fmt.Sprintf(`{"v": %.5f, "at": %q}`, 18+float64(n)/100_000, at.UTC().Format("2006-01-02T15:04:05.000Z"))
}

// numberOf reads the number back from what was kept; 0 when it is none.
func numberOf(e farm.Event) int {
	if e.Kind != farm.EventReading || e.Reading.Probe != "n" {
		return 0
	}
	return int(math.Round((e.Reading.Raw - 18) * 100_000))
}

// sends waits until the broker has accepted some more numbers.
func (l *stream) sends(more int) {
	l.t.Helper()
	from := l.accepted()
	proctest.Eventually(l.t, fmt.Sprintf("%d numbers are accepted", more), func() bool { return l.accepted() >= from+more })
}
