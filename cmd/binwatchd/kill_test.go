package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"binwatchd/internal/proctest"
)

// Deaths at random moments: how often, and how many numbers are sent in each
// life, so that a slow machine is not left with more than it can take.
const (
	killsHere   = 12
	killsInSoak = 50
	killLoad    = 100
)

// killYAML is a farm whose battery crosses its limit again and again, so that
// conditions come and go under load: v is both raw number and reading.
const killYAML = `farm: Hillfoot Nursery
broker: {url: %q}
journal: {path: %q, flush: 1s}
probes:
  n: {topic: kill/n, measures: battery, low: 0.5, every: 1h}
  b: {topic: kill/b, measures: battery, low: 3.3, every: 1h, of: [t]}
  t: {topic: kill/t, measures: temperature, every: 1h}
bins:
  bed: {species: red, zones: {all: {aim: living, probes: [t]}}}
`

// Every reading the broker saw acknowledged is in the journal exactly once,
// and each condition is announced exactly once, through SIGKILL at any moment.
// make soak kills it more often.
func TestKilledAtRandomMoments(t *testing.T) {
	t.Parallel()
	b := brokertest.StartMosquitto(t, brokertest.Options{Extra: "max_queued_messages 100000"})
	dir := t.TempDir()
	db := filepath.Join(dir, "journal.db")
	cfg := write(t, dir, "binwatchd.yaml", fmt.Sprintf(killYAML, b.URL, db))

	c := startChild(t, nil, "run", "--config", cfg)
	c.Says("broker reached") // the session exists from here on
	load := startKillLoad(t, b)
	kills := killsHere
	if soak(t) > 0 {
		kills = killsInSoak
	}
	for i := range kills {
		load.more(killLoad)
		proctest.Eventually(t, "the daemon is at work", func() bool { return strings.Contains(c.Log.String(), "broker reached") })
		dieAfter := time.NewTimer(time.Duration(rand.IntN(250)) * time.Millisecond)
		<-dieAfter.C
		c.End(syscall.SIGKILL)
		if i == kills-1 {
			break
		}
		c = startChild(t, nil, "run", "--config", cfg)
	}
	want := load.stop()
	c = startChild(t, nil, "run", "--config", cfg)
	c.Says("broker reached")
	drained(t, cfg, want)
	c.Stop()
	t.Logf("%d kills", kills)
	checkExactlyOnce(t, db, want)
}

// A killLoadStream publishes rising numbers, each once, and a battery that goes up
// and down.
type killLoadStream struct {
	room    chan int      // numbers that may go out; closed by stop
	ended   chan struct{} // closed when all of them have
	sent    int64         // numbers that the broker has accepted; read after ended
	t       *testing.T
	publish func(topic, payload string) mqtt.Token
}

func startKillLoad(t *testing.T, b *brokertest.Broker) *killLoadStream {
	client := brokertest.Client(t, b.URL, "kill-probes", "", "")
	l := &killLoadStream{room: make(chan int, killsInSoak), ended: make(chan struct{}), t: t}
	l.publish = func(topic, payload string) mqtt.Token { return client.Publish(topic, 1, false, payload) }
	go l.run()
	return l
}

// more lets so many numbers go out.
func (l *killLoadStream) more(n int) { l.room <- n }

// stop waits until all that may go out has, and tells how many numbers the
// broker has accepted.
func (l *killLoadStream) stop() int64 {
	close(l.room)
	<-l.ended
	return l.sent
}

func (l *killLoadStream) run() {
	defer close(l.ended)
	pace := time.NewTicker(2 * time.Millisecond) // a daemon's life lasts a good hundred of them
	defer pace.Stop()
	for n := range l.room {
		for range n {
			<-pace.C
			l.next()
		}
	}
}

// next publishes one number, and now and then a battery's voltage, and waits
// for the broker's answers.
func (l *killLoadStream) next() {
	n := l.sent + 1
	tokens := []mqtt.Token{l.publish("kill/n", fmt.Sprintf("%.4f", 1+float64(n)/10000))}
	if n%50 == 0 {
		tokens = append(tokens, l.publish("kill/b", fmt.Sprint(3+float64(n/50%2))))
	}
	for _, token := range tokens {
		if token.Wait() && token.Error() != nil {
			l.t.Errorf("publish number %d: %v", n, token.Error())
		}
	}
	l.sent = n
}

// drained waits until the broker has nothing left for the daemon.
func drained(t *testing.T, cfg string, want int64) {
	t.Helper()
	last := 1 + float64(want)/10000
	proctest.Eventually(t, "the backlog is drained", func() bool {
		for _, p := range nowView(t, cfg).Probes {
			if p.ID == "n" && p.Raw != nil && *p.Raw > last-0.00001 {
				return true
			}
		}
		return false
	})
}

func checkExactlyOnce(t *testing.T, db string, want int64) {
	t.Helper()
	j, err := journal.OpenReadOnly(context.Background(), journal.Config{Path: db, Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	got := map[int64]int{}
	if err := j.Replay(context.Background(), 0, func(e farm.Event) error {
		if e.Kind == farm.EventReading && e.Reading.Probe == "n" {
			got[int64((e.Reading.Raw-1)*10000+0.5)]++
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	for n := int64(1); n <= want; n++ {
		if got[n] != 1 {
			t.Errorf("reading %d is in the journal %d times, want once", n, got[n])
		}
	}
	checkChanges(t, j)
	t.Logf("%d readings, each once", want)
}

// checkChanges: in the order of the journal a condition is raised, then eased,
// then raised; nothing is announced twice.
func checkChanges(t *testing.T, j *journal.Journal) {
	t.Helper()
	var changes []farm.Change
	for after := int64(0); ; {
		s, err := j.Forward(context.Background(), after, 0)
		if err != nil {
			t.Fatal(err)
		}
		if s.Last == after {
			break
		}
		changes, after = append(changes, s.Changes...), s.Last
	}
	raised := map[string]bool{}
	n := 0
	for _, ch := range changes {
		k := ch.Probe + " " + string(ch.Condition)
		switch ch.Change {
		case farm.Raised:
			if raised[k] {
				t.Errorf("%s was raised twice: %s", k, ch.At)
			}
			raised[k] = true
			n++
		case farm.Eased:
			if !raised[k] {
				t.Errorf("%s was eased twice: %s", k, ch.At)
			}
			raised[k] = false
		}
	}
	if n < killsHere/4 {
		t.Errorf("got only %d raised conditions under load; the test shows nothing", n)
	}
}
