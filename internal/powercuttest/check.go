package main

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	_ "modernc.org/sqlite"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// A finding is what is the matter after a cut, beside what was promised before.
type finding struct {
	promised int // readings that the daemon had acknowledged
	missing  []string
	twice    []string
	changed  []string // kept with another value than was sent
	accepted int      // readings that the broker had acknowledged to the probe ...
	lost     int      // ... and that neither it nor the journal has
	odd      int      // readings noted as arrived before the first was sent, or in the future

	told      int      // notices that had arrived, but for those of an unwritten journal, which are told from memory
	repeated  int      // of them those that had arrived more than once
	unwritten int      // notices that the journal could not be written, or could again
	untrue    []string // of them those of which the journal knows nothing
	again     int      // of them those that came again, under the same id
	owed      int      // notices that came after the cut
	waiting   int      // notices that are owed still, and wait for their like
	never     int      // notices that are noted as told, and did not come
	unowed    int      // changes that nobody is owed
	unordered []string // conditions raised twice without an easing between

	up       time.Duration // from the start of the daemon to its watching
	journal  string        // what SQLite says of the journal, where that is not ok
	setAside bool          // the daemon found the journal damaged
	tornLog  bool          // it said that the log's end is torn
	byHand   bool          // the file system has to be repaired by a person
	noBroker string        // why the broker does not start on what it finds
}

// recipients are one by webhook and one by mail: each may have been told, and that not
// noted, when the power goes.
const recipients = 2

// broken lists the promises that were not kept.
func (f finding) broken() (all []string) {
	say := func(bad bool, format string, args ...any) {
		if bad {
			all = append(all, fmt.Sprintf(format, args...))
		}
	}
	say(len(f.missing) > 0, "%d of %d acknowledged readings missing: %s", len(f.missing), f.promised, few(f.missing))
	say(len(f.twice) > 0, "%d readings twice: %s", len(f.twice), few(f.twice))
	say(len(f.changed) > 0, "%d readings with another value: %s", len(f.changed), few(f.changed))
	say(f.odd > 0, "%d readings have arrived at another time than they did", f.odd)
	say(len(f.untrue) > 0, "%d of %d notices told and not in the journal: %s", len(f.untrue), f.told, few(f.untrue))
	say(f.again > recipients, "%d notices told again", f.again)
	say(f.never > 0, "%d notices are noted as told and did not come", f.never)
	say(f.unowed > 0, "%d changes are owed to nobody", f.unowed)
	say(len(f.unordered) > 0, "raised twice: %s", few(f.unordered))
	say(f.journal != "", "the journal is not whole: %s", f.journal)
	say(f.setAside, "the journal was set aside as damaged")
	return all
}

func few(list []string) string { return strings.Join(list[:min(3, len(list))], ", ") }

// A bench is where disks are examined: a directory for one at a time.
type bench struct {
	dir     string
	program string // binwatchd
}

// examine starts broker and daemon on a disk as it is after a cut, lets them come to
// rest, and takes the disk away. It holds what is there against what was promised up to a place.
func (b bench) examine(disk string, l *ledger, place int64) (f finding, err error) {
	defer os.Remove(disk)
	if f.byHand, err = repair(disk); err != nil {
		return f, err
	}
	at := filepath.Join(b.dir, "mnt")
	if err := os.MkdirAll(at, 0o755); err != nil {
		return f, err
	}
	if err := do("mount", "-o", "loop", disk, at); err != nil {
		return f, err
	}
	defer func() { err = errors.Join(err, unmount(at)) }()
	path := filepath.Join(at, "lib/binwatchd/journal.db")
	after := newLedger(func() int64 { return 0 })
	if err := b.rest(&f, at, path, after); err != nil {
		return f, err
	}
	return f, errors.Join(f.holdReadings(path, l, place), f.holdNotices(path, l.toldBy(place), after.toldBy(0)))
}

// unmount tries again for a while: a program that is just being started may hold
// what was open here.
func unmount(at string) (err error) {
	for range 100 {
		if err = do("umount", at); err == nil {
			return nil
		}
		time.Sleep(100 * time.Millisecond)
	}
	return err
}

// repair does what a start of the machine does to a file system; where that refuses
// (byHand), what a keeper does then, first with the superblock as it is found and then
// with the second one.
func repair(disk string) (byHand bool, err error) {
	for _, how := range [][]string{{"-p"}, {"-fy"}, {"-fy", "-b", "32768", "-B", "4096"}} {
		var failed *exec.ExitError
		out, did := exec.Command("e2fsck", append(how, disk)...).CombinedOutput()
		if did == nil || errors.As(did, &failed) && failed.ExitCode() < 4 { // errors were corrected
			return byHand, nil
		}
		byHand, err = true, fmt.Errorf("e2fsck %s: %w: %s", strings.Join(how, " "), did, out)
	}
	return byHand, err
}

// rest runs broker and daemon until nothing is left to do.
func (b bench) rest(f *finding, at, path string, after *ledger) error {
	hook, err := after.listen()
	if err != nil {
		return err
	}
	defer hook.close()
	broker, stop, err := b.broker(f, filepath.Join(at, "lib/mosquitto"))
	if err != nil {
		return err
	}
	defer stop()
	yaml := filepath.Join(b.dir, "binwatchd.yaml")
	text := configuration(ends{broker: "tcp://" + broker, journal: path, flush: "1s", control: filepath.Join(b.dir, "control"), hook: fmt.Sprintf("http://127.0.0.1:%d/hook", hook.port), mail: hook.mail})
	if err := os.WriteFile(yaml, []byte(text), 0o600); err != nil {
		return err
	}
	d, err := start(exec.Command(b.program, "run", "--config", yaml))
	if err != nil {
		return err
	}
	defer d.end(syscall.SIGKILL)
	began := time.Now()
	if err := d.says("msg=watching"); err != nil {
		return err
	}
	f.up = time.Since(began)
	if err := d.says("broker reached"); err != nil {
		return err
	}
	if err := settle(broker, path); err != nil {
		return fmt.Errorf("%w: %s", err, tail(d.said.String()))
	}
	d.end(syscall.SIGTERM)
	if code := d.cmd.ProcessState.ExitCode(); code != 0 {
		return fmt.Errorf("the daemon ended with %d: %s", code, tail(d.said.String()))
	}
	f.setAside = strings.Contains(d.said.String(), "set aside")
	f.tornLog = strings.Contains(d.said.String(), "torn")
	return nil
}

// broker starts mosquitto on what it finds. If it refuses that, it begins anew.
func (b bench) broker(f *finding, found string) (addr string, stop func(), err error) {
	store, conf := filepath.Join(b.dir, "store"), filepath.Join(b.dir, "mosquitto.conf")
	if err := os.RemoveAll(store); err != nil {
		return "", nil, err
	}
	if err := do("cp", "-r", found, store); err != nil {
		return "", nil, err
	}
	for range 2 {
		port, err := freePort()
		if err != nil {
			return "", nil, err
		}
		text := fmt.Sprintf("listener %d 127.0.0.1\nallow_anonymous true\nuser root\npersistence true\npersistence_location %s/\nmax_queued_messages 100000\nmax_inflight_messages 200\nlog_dest stderr\n", port, store)
		if err := os.WriteFile(conf, []byte(text), 0o600); err != nil {
			return "", nil, err
		}
		p, err := start(exec.Command("mosquitto", "-c", conf))
		if err != nil {
			return "", nil, err
		}
		addr = fmt.Sprintf("127.0.0.1:%d", port)
		if err = p.until("the broker listens", func() bool {
			c, err := net.Dial("tcp", addr)
			if err == nil {
				c.Close()
			}
			return err == nil
		}); err == nil {
			return addr, func() { p.end(syscall.SIGTERM) }, nil
		}
		f.noBroker = strings.TrimSpace(tail(p.said.String()))
		if err := os.RemoveAll(store); err != nil {
			return "", nil, err
		}
		if err := os.Mkdir(store, 0o755); err != nil {
			return "", nil, err
		}
	}
	return "", nil, fmt.Errorf("the broker does not start: %s", f.noBroker)
}

func freePort() (int, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port, nil
}

// last is the probe that says at the end that all that was before it has come.
const last = "t00"

// pause is how long nothing has to be told before what is owed still is taken to
// wait for its like.
const pause = 10 * time.Second

// settle sends one more reading, behind all that the broker has kept, and waits until
// it is in the journal and nobody is told any more.
func settle(broker, path string) error {
	c := connect("tcp://" + broker)
	if c == nil {
		return errors.New("the broker can't be reached")
	}
	defer c.Disconnect(50)
	r := reading{Probe: last, At: time.Now().Truncate(time.Millisecond), Value: 20}
	if t := c.Publish(r.topic(), 1, false, r.message()); t.Wait() && t.Error() != nil {
		return t.Error()
	}
	was, since := int64(-1), time.Now()
	for late := time.Now().Add(3 * time.Minute); time.Now().Before(late); time.Sleep(200 * time.Millisecond) {
		j, err := journal.OpenReadOnly(context.Background(), journal.Config{Path: path, Now: time.Now})
		if err != nil {
			return err
		}
		here, owed := false, int64(0)
		err = j.Readings(context.Background(), r.At, r.At.Add(time.Millisecond), func(e farm.Event) error {
			here = here || e.Reading.Probe == last
			return nil
		})
		waiting, err2 := j.Waiting(context.Background())
		for _, w := range waiting {
			owed += w.N
		}
		if err := errors.Join(err, err2, j.Close()); err != nil {
			return err
		}
		if !here || owed != was {
			was, since = owed, time.Now()
		}
		if here && (owed == 0 || time.Since(since) > pause) {
			return nil
		}
	}
	return errors.New("the last reading did not come, or somebody is told without an end")
}

// holdReadings compares the readings.
func (f *finding) holdReadings(path string, l *ledger, place int64) error {
	j, err := journal.OpenReadOnly(context.Background(), journal.Config{Path: path, Now: time.Now})
	if err != nil {
		return err
	}
	defer j.Close()
	times := map[string]int{}
	err = j.Replay(context.Background(), 0, func(e farm.Event) error {
		if e.Kind != farm.EventReading {
			return nil
		}
		r := reading{Probe: e.Reading.Probe, At: e.Reading.At, Value: e.Reading.Raw}
		times[r.key()]++
		l.mu.Lock()
		defer l.mu.Unlock()
		f.odd += one(e.Arrived.Before(l.Began.Add(-time.Minute)) || e.Arrived.After(time.Now().Add(time.Minute)))
		if s, ok := l.Sent[r.key()]; ok && s.message() != r.message() {
			f.changed = append(f.changed, r.key())
		}
		return nil
	})
	for key, n := range times {
		if n > 1 {
			f.twice = append(f.twice, key)
		}
	}
	kept, accepted := l.by(l.Kept, place), l.by(l.Accepted, place)
	f.promised, f.accepted = len(kept), len(accepted)
	for _, key := range kept {
		if times[key] == 0 {
			f.missing = append(f.missing, key)
		}
	}
	for _, key := range accepted {
		if times[key] == 0 {
			f.lost++
		}
	}
	return err
}

// holdNotices compares what was told before and after the cut with what the
// journal says is owed.
func (f *finding) holdNotices(path string, before, after []telling) error {
	db, err := sql.Open("sqlite", "file:"+path+"?mode=ro")
	if err != nil {
		return err
	}
	defer db.Close()
	if err := db.QueryRow(`PRAGMA integrity_check`).Scan(&f.journal); err != nil || f.journal == "ok" {
		f.journal = ""
		if err != nil {
			return err
		}
	}
	fates, err := pairs(db, `SELECT notice, coalesce(fate, '') FROM owed`)
	if err != nil {
		return err
	}
	came, by := map[string]bool{}, map[string]bool{} // by a mail of several
	for _, t := range before {
		switch {
		case t.Condition == farm.Unwritten:
			f.unwritten++
		case came[t.ID]:
			f.repeated++
		default:
			came[t.ID] = true
		}
		for _, id := range t.Also {
			by[id] = true
		}
	}
	f.told, f.owed = len(came), len(after)
	for id := range came {
		if _, known := fates[id]; !known {
			f.untrue = append(f.untrue, id)
		}
	}
	for _, t := range after {
		if came[t.ID] {
			f.again++
		}
		came[t.ID] = true
		for _, id := range t.Also {
			by[id] = true
		}
	}
	for id, fate := range fates {
		switch {
		case fate == "":
			f.waiting++
		case fate == string(farm.Told) && !came[id] && !by[id]:
			f.never++
		}
	}
	if err := db.QueryRow(`SELECT count(*) FROM change WHERE id NOT IN (SELECT change FROM owed)`).Scan(&f.unowed); err != nil {
		return err
	}
	return f.holdOrder(db)
}

// holdOrder: a condition is raised, then eased, then raised.
func (f *finding) holdOrder(db *sql.DB) error {
	rows, err := db.Query(`SELECT body ->> 'change', concat_ws(' ', body ->> 'condition', bin, body ->> 'zone', body ->> 'probe') FROM change ORDER BY id`)
	if err != nil {
		return err
	}
	defer rows.Close()
	raised := map[string]bool{}
	for rows.Next() {
		var change, what string
		if err := rows.Scan(&change, &what); err != nil {
			return err
		}
		switch farm.ChangeKind(change) {
		case farm.Raised:
			if raised[what] {
				f.unordered = append(f.unordered, what)
			}
			raised[what] = true
		case farm.Eased:
			raised[what] = false
		}
	}
	return rows.Err()
}

func pairs(db *sql.DB, query string) (map[string]string, error) {
	rows, err := db.Query(query)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	all := map[string]string{}
	for rows.Next() {
		var a, b string
		if err := rows.Scan(&a, &b); err != nil {
			return nil, err
		}
		all[a] = b
	}
	return all, rows.Err()
}

// A process is a program that is run here.
type process struct {
	cmd  *exec.Cmd
	said *console
	gone chan struct{}
}

func start(cmd *exec.Cmd) (*process, error) {
	p := &process{cmd: cmd, said: &console{}, gone: make(chan struct{})}
	cmd.Stdout, cmd.Stderr = p.said, p.said
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	go func() {
		_ = cmd.Wait() // how it ended is asked of the process state
		close(p.gone)
	}()
	return p, nil
}

func (p *process) end(s os.Signal) {
	_ = p.cmd.Process.Signal(s) // it may have ended
	<-p.gone
}

func (p *process) says(text string) error {
	return p.until("it says "+text, func() bool { return strings.Contains(p.said.String(), text) })
}

func (p *process) until(what string, holds func() bool) error {
	return until(what, p.gone, p.said, holds)
}
