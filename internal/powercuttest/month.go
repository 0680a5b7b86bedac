package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"text/tabwriter"
	"time"
)

const (
	monthDays = 30
	probes    = 3 * binsInFarm
)

// A host is a computer with the package's unit in it, and a shell.
type host interface {
	computer
	run(line string) (string, error)
	device() string
}

// A month is a month's readings of sixty probes, with their time stamps, in an hour
// or two. What follows the wall clock has only that hour.
type month struct {
	*site
	every time.Duration      // by the stamps
	long  time.Duration      // in truth
	wrong func(day int) bool // whether that day's trouble is wanted
	host  host
	past  figures // before the machine was last switched on
	last  figures // of the day before
}

// A trouble begins on a day, and is over before the next.
type trouble struct {
	day   int
	what  string
	begin func(*month) (saw string, err error)
	end   func(*month) error // nil: begin ends it
	only  string             // "machine" or "container"; "": in both
}

// standstill is longer than the unit's watchdog waits.
const standstill = 4 * time.Minute

var troubles = []trouble{
	{day: 4, what: "the daemon is stopped (SIGSTOP)", begin: (*month).hang},
	{day: 8, what: fmt.Sprintf("the file system stands still for %s (fsfreeze)", standstill), begin: (*month).freeze},
	{day: 12, what: "no network to broker and recipient", begin: func(m *month) (string, error) { m.ledger.away.Store(true); return "", nil },
		end: func(m *month) error { m.ledger.away.Store(false); return nil }},
	{day: 16, what: "/var full", begin: inShell( // a file of nothing costs no writes; what it leaves is written full
		"fallocate -l $((($(stat -f -c %f /var) - 512) * 4096)) /var/full; dd if=/dev/zero of=/var/rest bs=4096 2>/dev/null; test $(stat -f -c %a /var) = 0"),
		end: func(m *month) error { return order(m.host, "rm -f /var/full /var/rest") }},
	// What is open for writing keeps an ordinary remount away; the kernel's own of an emergency asks nobody.
	{day: 20, what: "all disks read-only", only: "machine", begin: inShell("echo u >/proc/sysrq-trigger; until ! touch /var/tmp/x; do sleep 1; done"),
		end: func(m *month) error { return order(m.host, "mount -o remount,rw /var; touch /var/tmp/x") }},
	{day: 20, what: fmt.Sprintf("the disk answers nothing for %s", standstill), only: "container", begin: (*month).standStill},
	{day: 24, what: "switched on with a clock of 1970", only: "machine", begin: (*month).timeless, end: (*month).setClock},
}

func inShell(line string) func(*month) (string, error) {
	return func(m *month) (string, error) { return "", order(m.host, line) }
}

// hang stops the daemon's process, and waits for the watchdog.
func (m *month) hang() (string, error) {
	return m.restarted(func() error { return order(m.host, "kill -STOP $(systemctl show -P MainPID binwatchd)") })
}

// restarted tells how long it takes until the daemon runs anew.
func (m *month) restarted(by func() error) (string, error) {
	from := m.last.restarts
	if err := by(); err != nil {
		return "", err
	}
	began := time.Now()
	err := m.until("the daemon is started again", func() bool {
		time.Sleep(time.Second)
		f, err := m.look()
		return err == nil && f.restarts > from && f.memory > 0
	})
	return fmt.Sprintf("it runs anew after %s", time.Since(began).Round(time.Second)), err
}

// freeze stops the file system: not only a write waits then, but whoever touches a
// page of it in memory, as all do with the journal's index.
func (m *month) freeze() (string, error) {
	if err := order(m.host, "sync; fsfreeze -f /var"); err != nil {
		return "", err
	}
	time.Sleep(standstill)
	return "", order(m.host, "fsfreeze -u /var")
}

// standStill stops the disk alone, as a card does that looks for itself.
func (m *month) standStill() (string, error) {
	disk := m.computer.(*container).store.cmd.Process
	if err := disk.Signal(syscall.SIGSTOP); err != nil {
		return "", err
	}
	time.Sleep(standstill)
	return "", disk.Signal(syscall.SIGCONT)
}

// timeless switches the machine off and on, with a clock that knows no date.
func (m *month) timeless() (string, error) {
	if err := order(m.host, "systemctl stop binwatchd mosquitto; sync"); err != nil {
		return "", err
	}
	f, err := m.look()
	if err != nil {
		return "", err
	}
	machine := m.computer.(*machine)
	m.cut()
	m.past, machine.cfg.rtc = f, "1970-01-01T00:00:00"
	if err := m.on(); err != nil {
		return "", err
	}
	date, err := m.host.run("date +%F")
	return "the machine takes it for " + date, err
}

func (m *month) setClock() error {
	return order(m.host, fmt.Sprintf("date -s @%d", time.Now().Unix()))
}

// figures are what the kernel and systemd say of the daemon and its disk.
type figures struct {
	restarts          int
	group, memory     float64 // MB: of the unit as the kernel limits it, with what it has of files; resident in the process
	written, flushes  float64 // to the disk since it is there: MB, and times
	sent, kept, notes int     // readings and notices up to now
}

func (m *month) look() (f figures, err error) {
	line := `p=$(systemctl show -P MainPID binwatchd); g=$(systemctl show -P MemoryCurrent binwatchd | tr -dc 0-9)
r=$(sed -n 's/^VmRSS:[^0-9]*\([0-9]*\).*/\1/p' /proc/$p/status 2>/dev/null)
echo $(systemctl show -P NRestarts binwatchd) ${g:-0} ${r:-0} $(cut -c1-300 /sys/block/` + m.host.device() + "/stat)"
	out, err := m.host.run(strings.ReplaceAll(line, "\n", "; "))
	if err != nil {
		return f, err
	}
	var stat [17]float64 // Documentation/block/stat.rst: sectors of 512 bytes written are the seventh, flushes the sixteenth
	to := []any{&f.restarts, &f.group, &f.memory}
	for i := range stat {
		to = append(to, &stat[i])
	}
	if _, err := fmt.Sscan(out, to...); err != nil {
		return f, fmt.Errorf("read figures %q: %w", out, err)
	}
	f.restarts += m.past.restarts
	f.group, f.memory, f.written, f.flushes = f.group/1e6, f.memory*1024/1e6, m.past.written+stat[6]*512/1e6, m.past.flushes+stat[15]
	f.sent, _, f.kept, f.notes = m.ledger.counts()
	return f, nil
}

func (m *month) dayRounds() int { return int(24 * time.Hour / m.every) }

// live has the probes talk for a month, and prints what is seen at the end of each day.
func (m *month) live(w io.Writer) error {
	err := m.on()
	if err == nil {
		m.last, err = m.look()
	}
	if err != nil {
		return err
	}
	n, rounds, first := 0, monthDays*m.dayRounds(), time.Now().Add(m.long-monthDays*24*time.Hour)
	m.probes = startLoad("tcp://"+m.broker, m.ledger, m.long/time.Duration(rounds), probes, func() (reading, bool) {
		n++
		at := first.Add(time.Duration((n-1)/probes)*m.every + time.Duration((n-1)%probes)*time.Second)
		return probeAt(n-1, at, rounds/33), n <= rounds*probes
	})
	kernel, err := m.host.run("uname -r; systemctl show binwatchd -p MemoryMax -p WatchdogUSec | tr '\\n' ' '")
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "a month of a reading every %s in %s; kernel %s\n", m.every, m.long, strings.ReplaceAll(kernel, "\n", ", "))
	t := tabwriter.NewWriter(w, 9, 0, 1, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "day\tsent\tkept\tMB resident\tMB of the unit\tMB written\tbytes a reading\tflushes\trestarts\tnotices\t")
	t.Flush()
	for day := 1; day <= monthDays; day++ {
		if err := m.day(w, t, day); err != nil {
			return fmt.Errorf("day %d: %w", day, err)
		}
	}
	return nil
}

// day is one of them, with its trouble.
func (m *month) day(w io.Writer, t *tabwriter.Writer, day int) error {
	var now trouble
	for _, t := range troubles {
		if _, whole := m.computer.(*machine); t.day == day && m.wrong(day) && (t.only == "" || whole == (t.only == "machine")) {
			now = t
		}
	}
	if now.begin != nil {
		saw, err := now.begin(m)
		if err != nil {
			return fmt.Errorf("%s: %w", now.what, err)
		}
		fmt.Fprintln(w, strings.TrimSuffix(now.what+": "+saw, ": "))
	}
	if err := m.until("the day is over", func() bool {
		sent, _, _, _ := m.ledger.counts()
		return sent >= day*m.dayRounds()*probes
	}); err != nil {
		return err
	}
	if now.end != nil {
		if err := now.end(m); err != nil {
			return fmt.Errorf("%s: end it: %w", now.what, err)
		}
	}
	f, err := m.look()
	if err != nil {
		return err
	}
	was := m.last
	m.last = f
	each := "-"
	if kept := f.kept - was.kept; kept > 0 {
		each = fmt.Sprintf("%.0f", (f.written-was.written)*1e6/float64(kept))
	}
	fmt.Fprintf(t, "%d\t%d\t%d\t%.1f\t%.1f\t%.1f\t%s\t%.0f\t%d\t%d\t\n", day, f.sent, f.kept, f.memory, f.group, f.written-was.written, each, f.flushes-was.flushes, f.restarts, f.notes)
	return t.Flush()
}

// settled waits until all has come in, or nothing more comes, and ends in order.
func (m *month) settled() error {
	<-m.probes.ended
	last, since := 0, time.Now()
	if err := m.until("nothing more comes", func() bool {
		sent, _, kept, _ := m.ledger.counts()
		if kept > last {
			last, since = kept, time.Now()
		}
		return kept >= sent || time.Since(since) > standstill
	}); err != nil {
		return err
	}
	log, err := m.host.run("journalctl --no-pager -o cat -u binwatchd | grep -E 'level=(WARN|ERROR)|level=INFO msg=watching' | tail -40")
	return errors.Join(err, os.WriteFile(filepath.Join(m.dir, "log"), []byte(log), 0o600), order(m.host, "systemctl stop binwatchd mosquitto; sync"))
}

// liveMonth lets a month pass, and holds what is on the disk against what was sent.
func liveMonth(img image, o setting, long, every time.Duration, wrong func(int) bool) (well bool, err error) {
	o.name, o.unit = "month", true
	s, err := newSite(img, o)
	if err != nil {
		return false, err
	}
	defer s.close()
	m := &month{site: s, every: every, long: long, wrong: wrong, host: s.computer.(host)}
	defer m.halt()
	if err := m.live(os.Stdout); err != nil {
		return false, err
	}
	if err := m.settled(); err != nil {
		return false, err
	}
	m.halt()
	f, err := bench{dir: filepath.Join(s.dir, "bench"), program: o.program}.examine(s.disk, s.ledger, 0)
	if err != nil {
		return false, err
	}
	fmt.Printf("at the end: %d readings acknowledged to the probes, %d of them lost; %d acknowledged by the daemon, %d missing, %d twice, %d changed; %d notices came, %d of them more than once; %d told that the journal could not be written\n",
		f.accepted, f.lost, f.promised, len(f.missing), len(f.twice), len(f.changed), f.told, f.repeated, f.unwritten)
	for _, b := range f.broken() {
		fmt.Println("not kept:", b)
	}
	return len(f.broken()) == 0 && f.lost == 0 && f.repeated == 0, nil
}
