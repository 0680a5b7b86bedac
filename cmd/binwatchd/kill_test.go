package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
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

// Deaths at random moments: how many a farm lives through, and how many numbers are sent
// in each life, so that a slow machine is not left with more than it can take.
const (
	killsHere   = 12
	killsInSoak = 50
	killLoad    = 100
)

// killYAML is a farm whose battery crosses its limit again and again, so that
// conditions come and go under load: v is both raw number and reading.
const killYAML = `farm: Hillfoot Nursery
broker: {url: %q}
journal: {path: %q, flush: 1s, backup: {to: %q, every: 1h, disk: same}}
influx: {url: %q, flavour: v1, database: bins}
probes:
  n: {topic: kill/n, measures: battery, low: 0.5, every: 1h}
  b: {topic: kill/b, measures: battery, low: 3.3, every: 1h, of: [t]}
  t: {topic: kill/t, measures: temperature, every: 1h}
bins:
  bed: {species: red, zones: {all: {aim: living, probes: [t]}}}
`

// A kills is how often the daemon was killed, by what it was at.
type kills map[string]int

func (k kills) sum() (n int) {
	for _, one := range k {
		n += one
	}
	return n
}

// Every reading the broker saw acknowledged is in the journal exactly once, and each
// condition is announced exactly once, through SIGKILL at any moment: while it starts,
// reads, copies its journal, sends a range to the database again, or takes another
// configuration. SOAK=8h goes on with one farm after the other, kills it while it packs
// or migrates too, and says at what pace.
func TestKilledAtRandomMoments(t *testing.T) {
	t.Parallel()
	began, all := time.Now(), kills{}
	var others []side
	for n := 1; n == 1 || time.Since(began) < soak(t); n++ {
		sound := t.Run(fmt.Sprint("farm ", n), func(t *testing.T) {
			f := startKillFarm(t, all)
			most := killsHere
			if soak(t) > 0 {
				most = killsInSoak
			}
			f.live(most)
		})
		if soak(t) > 0 {
			if others == nil {
				others = sides(t) // they last as long as the soak
			}
			sound = sound && t.Run("aside", func(t *testing.T) { killAside(t, others, all) })
			took := time.Since(began)
			if all.sum() == 0 {
				return
			}
			t.Logf("%d kills in %s, %.1f a minute; at this pace 10,000 take %s: %v", all.sum(), took.Round(time.Second),
				float64(all.sum())/took.Minutes(), (took * 10_000 / time.Duration(all.sum())).Round(time.Minute), all)
		}
		if !sound {
			return
		}
	}
}

// killAside kills daemons at what is seldom done.
func killAside(t *testing.T, others []side, all kills) {
	for i := range others {
		for range killsInSoak / 10 {
			what := others[i].name
			if !others[i].kill(t) {
				what += ", or just after"
			}
			all[what]++
		}
	}
}

// A killFarm is a daemon that is killed and started again and again, under load.
type killFarm struct {
	t            *testing.T
	all          kills
	yaml, cfg    string
	db, copies   string
	load         *killLoadStream
	daemon       *proctest.Process
	reloads      int
	lived, whole int // lives; copies that were found whole
}

func startKillFarm(t *testing.T, all kills) *killFarm {
	t.Helper()
	dir, b := t.TempDir(), brokertest.StartMosquitto(t, brokertest.Options{Extra: "max_queued_messages 100000"})
	f := &killFarm{t: t, all: all, db: filepath.Join(dir, "journal.db"), copies: filepath.Join(dir, "copies")}
	if err := os.Mkdir(f.copies, 0o750); err != nil {
		t.Fatal(err)
	}
	f.yaml = fmt.Sprintf(killYAML, b.URL, f.db, f.copies, startTold(t).URL)
	f.cfg = write(t, dir, "binwatchd.yaml", f.yaml)
	f.start()
	f.daemon.Says("broker reached") // the session exists from here on
	f.load = startKillLoad(t, b)
	return f
}

// start starts the daemon: in a soak the program as it is for a PC, else with the race
// detector looking on.
func (f *killFarm) start() {
	if soak(f.t) > 0 {
		f.daemon = startPlain(f.t, "run", "--config", f.cfg)
	} else {
		f.daemon = startChild(f.t, nil, "run", "--config", f.cfg)
	}
}

// A blow is what the daemon is at when it is killed. What is run beside it is killed with it.
type blow struct {
	name string
	do   func(*killFarm) *proctest.Process
}

var blows = []blow{
	{"while it reads", func(*killFarm) *proctest.Process { return nil }},
	{"while a copy is made", func(f *killFarm) *proctest.Process {
		return startPlain(f.t, "backup", filepath.Join(f.copies, fmt.Sprint("hand-", f.lived, ".db")), "--config", f.cfg)
	}},
	{"while a range is sent again", func(f *killFarm) *proctest.Process {
		return startPlain(f.t, "resend", "--from", "2020-01-01", "--config", f.cfg)
	}},
	{"while it reloads", func(f *killFarm) *proctest.Process {
		for range 3 {
			f.reloads++
			write(f.t, filepath.Dir(f.cfg), filepath.Base(f.cfg), strings.Replace(f.yaml, "low: 0.5", fmt.Sprint("low: 0.", 4+f.reloads%2), 1))
			hangup(f.t, f.daemon)
		}
		return nil
	}},
}

// live has the daemon die so many times, and looks for everything in the end.
func (f *killFarm) live(deaths int) {
	f.t.Helper()
	for i := range deaths {
		f.load.more(killLoad)
		at, what := "broker reached", blows[i%len(blows)]
		if i > 0 && rand.IntN(3) == 0 {
			at = "watching"
		}
		f.daemon.Says(at)
		beside := what.do(f)
		<-time.After(time.Duration(rand.IntN(250)) * time.Millisecond)
		f.daemon.End(syscall.SIGKILL)
		if beside != nil {
			beside.End(syscall.SIGKILL)
		}
		f.all[what.name]++
		f.lived++
		f.checkCopies()
		f.start()
	}
	want := f.load.stop()
	f.daemon.Says("broker reached")
	drained(f.t, f.cfg, want)
	if _, code := runChild(f.t, "backup", filepath.Join(f.copies, "hand-last.db"), "--config", f.cfg); code != exitDone {
		f.t.Errorf("the last copy: exit %d", code)
	}
	f.checkCopies()
	f.daemon.Stop()
	checkExactlyOnce(f.t, f.db, want)
	f.t.Logf("%d lives, %d copies found whole", f.lived, f.whole)
}

// checkCopies: what has the name of a copy is whole, whenever its maker died. They are
// taken away, so that the next life makes one.
func (f *killFarm) checkCopies() {
	f.t.Helper()
	there, err := filepath.Glob(filepath.Join(f.copies, "*"))
	if err != nil {
		f.t.Fatal(err)
	}
	for _, file := range there {
		if strings.HasSuffix(file, ".db") {
			if _, err := journal.Verify(f.t.Context(), file); err != nil {
				f.t.Errorf("copy %s: %v", filepath.Base(file), err)
			}
			f.whole++
		}
		if err := os.Remove(file); err != nil {
			f.t.Fatal(err)
		}
	}
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
