package main

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"
)

// A computer has broker and daemon in it, and a disk under /var.
type computer interface {
	on() error    // returns once it has started
	stop() error  // the daemon in it, in order
	start() error // it again
	cut()         // the power is gone
	halt()        // likewise, but the log of writes is finished
	until(what string, holds func() bool) error
}

// A site is a computer with all that it talks to.
type site struct {
	computer
	dir    string
	disk   string
	log    string
	ledger *ledger
	relay  *relay
	ear    *ear
	probes *load
	broker string
}

// A setting says what a site is made with.
type setting struct {
	name     string
	accel    string // of the emulator; "": broker and daemon run here, on a disk of their own
	program  string // the binwatchd that is in the package
	saves    string // how the broker writes its store, if not as the package's snippet has it
	recorded bool   // what is written is logged
	unit     bool   // by a systemd, with the limits of the package's unit
}

func newSite(img image, o setting) (*site, error) {
	s := &site{dir: filepath.Join(img.dir, o.name)}
	s.disk = filepath.Join(s.dir, "var.img")
	if err := os.MkdirAll(s.dir, 0o755); err != nil {
		return nil, err
	}
	if err := do("cp", "--sparse=always", img.disk, s.disk); err != nil {
		return nil, err
	}
	s.ledger = newLedger(func() int64 { return 0 })
	if o.recorded {
		s.log = filepath.Join(s.dir, "writes")
		s.ledger.when = logSize(s.log)
	}
	port, err := freePort()
	if err != nil {
		return nil, err
	}
	s.broker = fmt.Sprintf("127.0.0.1:%d", port)
	if s.relay, err = startRelay(s.ledger, s.broker); err != nil {
		return nil, err
	}
	if s.ear, err = s.ledger.listen(); err != nil {
		return nil, err
	}
	snippet, err := os.ReadFile("configs/mosquitto.conf")
	if err != nil {
		return nil, err
	}
	broker := brokerSettings(string(snippet), o.saves)
	if o.accel == "" && o.unit {
		s.computer = &container{here: here{dir: s.dir, disk: s.disk}, root: filepath.Join(img.dir, "root")}
		yaml := configuration(ends{broker: fmt.Sprintf("tcp://127.0.0.1:%d", s.relay.port()), journal: "/var/lib/binwatchd/journal.db", flush: "30s",
			control: "/run/binwatchd/control.sock", hook: fmt.Sprintf("http://127.0.0.1:%d/hook", s.ear.port), mail: s.ear.mail})
		return s, equip(s.disk, s.dir, yaml, strings.Replace(broker, "listener 1883", fmt.Sprintf("listener %d 127.0.0.1", port), 1), s.ear)
	}
	if o.accel == "" {
		s.computer = &here{dir: s.dir, disk: s.disk, log: s.log, program: o.program, settings: broker, port: port, relay: s.relay.port(), hook: s.ear.port, mail: s.ear.mail}
		return s, nil
	}
	s.computer = &machine{cfg: machineConfig{img: img, disk: s.disk, log: s.log, broker: port, accel: o.accel}}
	yaml := configuration(ends{broker: fmt.Sprintf("tcp://10.0.2.2:%d", s.relay.port()), journal: "/var/lib/binwatchd/journal.db", flush: "30s",
		control: "/run/binwatchd/control.sock", hook: "http://127.0.0.1:9000/hook", mail: 9025})
	return s, equip(s.disk, s.dir, yaml, broker, s.ear)
}

// talk has the probes talk, sixty readings a second; the conditions of a bin come
// after those of the one before by so many rounds of all probes.
func (s *site) talk(rounds int) {
	n := 0
	s.probes = startLoad("tcp://"+s.broker, s.ledger, 100*time.Millisecond, 6, func() (reading, bool) {
		n++
		return probeAt(n-1, time.Now(), rounds), true
	})
}

// grows waits until so many more readings are kept.
func (s *site) grows(more int) error {
	_, _, from, _ := s.ledger.counts()
	return s.until(fmt.Sprintf("%d readings are kept", more), func() bool {
		_, _, kept, _ := s.ledger.counts()
		return kept >= from+more
	})
}

func (s *site) close() {
	if s.probes != nil {
		s.probes.stop()
	}
	s.relay.close()
	s.ear.close()
}

// A recording is what a disk was asked for while the probes talked.
type recording struct {
	*site
	origin string // the disk before
}

// record has the probes talk, the daemon stopped for a while in the middle of it,
// so that the broker has something to keep.
func record(img image, o setting, talk int) (*recording, error) {
	o.name, o.recorded = "record", true
	s, err := newSite(img, o)
	if err != nil {
		return nil, err
	}
	defer s.close()
	r := &recording{s, filepath.Join(s.dir, "origin.img")}
	if err := do("cp", "--sparse=always", s.disk, r.origin); err != nil {
		return nil, err
	}
	defer s.halt()
	if err := s.on(); err != nil {
		return nil, err
	}
	s.talk(2)
	if err := s.grows(100); err != nil {
		return nil, err
	}
	s.ledger.From = s.ledger.when()
	if err := s.grows(talk); err != nil {
		return nil, err
	}
	if err := s.stop(); err != nil {
		return nil, err
	}
	time.Sleep(30 * time.Second) // the probes go on
	if err := s.start(); err != nil {
		return nil, err
	}
	if err := s.grows(talk); err != nil {
		return nil, err
	}
	s.ledger.To = s.ledger.when()
	return r, s.ledger.save(filepath.Join(s.dir, "promises.json"))
}

// recorded is a recording that was made before.
func recorded(img image) (*recording, error) {
	dir := filepath.Join(img.dir, "record")
	l, err := loadLedger(filepath.Join(dir, "promises.json"))
	return &recording{&site{dir: dir, log: filepath.Join(dir, "writes"), ledger: l}, filepath.Join(dir, "origin.img")}, err
}

// replay cuts the power at so many instants of a recording, for each fate in turn.
func replay(r *recording, program string, points int, fates []fate) ([]result, error) {
	l, err := openLog(r.log)
	if err != nil {
		return nil, err
	}
	origin, err := os.Open(r.origin)
	if err != nil {
		return nil, err
	}
	first := slices.IndexFunc(l.entries, func(e entry) bool { return e.end >= r.ledger.From })
	end := slices.IndexFunc(l.entries, func(e entry) bool { return e.end > r.ledger.To })
	if end < 0 {
		end = len(l.entries)
	}
	if first < 0 || end <= first {
		return nil, fmt.Errorf("nothing was written while the probes talked")
	}
	cuts := choose(l, first, end, points, fates)
	base := filepath.Join(r.dir, "base.img")
	if err := do("cp", "--sparse=always", r.origin, base); err != nil {
		return nil, err
	}
	drive, err := os.OpenFile(base, os.O_RDWR, 0)
	if err != nil {
		return nil, err
	}
	defer drive.Close()
	results, benches := make([]result, len(cuts)), make(chan int, atOnce)
	for i := range atOnce {
		benches <- i
	}
	var all sync.WaitGroup
	played := 0
	for i, c := range cuts {
		for ; played < l.settled(c.entry); played++ {
			if err := l.play(drive, l.entries[played], nil); err != nil {
				return nil, err
			}
		}
		if i%50 == 0 {
			fmt.Fprintf(os.Stderr, "cut %d of %d\n", i, len(cuts))
		}
		n := <-benches
		b := bench{dir: filepath.Join(r.dir, fmt.Sprint("bench", n)), program: program}
		found, err := b.found(base, func(d disk) error { return l.strike(d, origin, c) })
		if err != nil {
			return nil, err
		}
		all.Go(func() {
			f, err := b.examine(found, r.ledger, l.entries[c.entry].end)
			results[i] = result{cut: c, finding: f, err: err}
			results[i].print()
			benches <- n
		})
	}
	all.Wait()
	return results, nil
}

// atOnce is how many disks are examined beside one another: a daemon waits more than it works.
const atOnce = 4

// found makes a copy of a disk and does the cut's harm to it. Each copy is a file of
// its own: the kernel may show what it remembers of one that was mounted before. It
// is gone once it was examined.
func (b bench) found(base string, harm func(disk) error) (string, error) {
	if err := os.MkdirAll(b.dir, 0o755); err != nil {
		return "", err
	}
	f, err := os.CreateTemp(b.dir, "disk")
	if err != nil {
		return "", err
	}
	defer f.Close()
	if err := do("cp", "--sparse=always", base, f.Name()); err != nil {
		return "", err
	}
	return f.Name(), harm(f)
}

// choose draws instants, the same ones for the same log, and orders them.
func choose(l *writeLog, first, end, points int, fates []fate) []cut {
	dice := rand.New(rand.NewPCG(uint64(len(l.entries)), 1))
	var flushes []int
	for i := first; i < end; i++ {
		if l.settled(i) == i+1 {
			flushes = append(flushes, i)
		}
	}
	cuts := make([]cut, points)
	for i := range cuts {
		c := cut{fate: fates[i%len(fates)], entry: first + dice.IntN(end-first), seed: dice.Uint64()}
		if c.fate == atFlush || c.fate.lies() {
			c.entry = flushes[dice.IntN(len(flushes))]
		}
		cuts[i] = c
	}
	slices.SortFunc(cuts, func(a, b cut) int { return cmp.Compare(a.entry, b.entry) })
	return cuts
}

// kills cuts the power of a running machine again and again, and looks at the disk
// each time before it is switched on anew.
func kills(img image, o setting, n int) ([]result, error) {
	o.name = "kills"
	s, err := newSite(img, o)
	if err != nil {
		return nil, err
	}
	defer s.close()
	var mu sync.Mutex
	count := int64(0)
	s.ledger.when = func() int64 { mu.Lock(); defer mu.Unlock(); return count }
	dice := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 3))
	s.talk(6)
	b := bench{dir: filepath.Join(s.dir, "bench"), program: o.program}
	var results []result
	lost := 0
	for i := range n {
		if err := s.on(); err != nil {
			s.cut()
			return results, err
		}
		if err := s.grows(1 + dice.IntN(300)); err != nil {
			s.cut()
			return results, err
		}
		s.cut()
		time.Sleep(200 * time.Millisecond) // what it had said before arrives
		mu.Lock()
		count++
		mu.Unlock()
		found, err := b.found(s.disk, func(disk) error { return nil })
		if err != nil {
			return results, err
		}
		f, err := b.examine(found, s.ledger, int64(i))
		f.lost, lost = f.lost-lost, f.lost // what one cut lost is missing after the next too
		results = append(results, result{cut: cut{entry: i, fate: "the machine killed"}, finding: f, err: err})
		results[i].print()
	}
	return results, nil
}
