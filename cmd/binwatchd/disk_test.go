package main

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/farm"
	"binwatchd/internal/proctest"
)

const diskYAML = `farm: Hillfoot Nursery
timezone: UTC
broker: {url: %q}
journal: {path: %q, flush: 1s}
control: %q
page: {listen: %q}
probes:
  n: {topic: chaos/n, value: /v, time: /at, measures: temperature, every: 1h}
bins:
  bed: {species: red, zones: {all: {aim: living, probes: [n]}}}
tell:
  - {webhook: %q, secret: {env: DISK_HOOK}}
`

// A smallDisk is a daemon whose journal is on a file system of a few MiB.
type smallDisk struct {
	chaos
	dir     string // where the file system is mounted
	ballast string // the file that fills it
	page    string
}

func startSmallDisk(t *testing.T) *smallDisk {
	t.Helper()
	dir := t.TempDir()
	s := &smallDisk{dir: filepath.Join(dir, "disk"), page: proctest.FreeAddr(t)}
	s.ballast = filepath.Join(s.dir, "ballast")
	if err := os.Mkdir(s.dir, 0o700); err != nil {
		t.Fatal(err)
	}
	mount(t, s.dir, "size=4m")
	s.watch(t, dir)
	return s
}

// watch starts a daemon with its journal in s.dir, and all else it needs beside
// that in dir, and a load.
func (s *smallDisk) watch(t *testing.T, dir string) {
	t.Helper()
	s.chaos = chaos{
		t: t, hook: startHook(t), kept: newLedger(t, filepath.Join(s.dir, "journal.db")),
		broker: brokertest.StartMosquitto(t, brokertest.Options{Extra: "max_queued_messages 1000000"}),
	}
	s.cfg = write(t, dir, "binwatchd.yaml", fmt.Sprintf(diskYAML, s.broker.URL, s.kept.path, filepath.Join(dir, "door"), s.page, s.hook.url))
	s.start()
	s.daemon.Says("broker reached")
	s.load = startStream(t, s.broker.URL, usualPace)
}

func (s *smallDisk) start() {
	s.daemon = startChild(s.t, []string{"DISK_HOOK=" + s.hook.secret}, "run", "--config", s.cfg)
}

// fill leaves no byte free.
func (s *smallDisk) fill() {
	s.t.Helper()
	f, err := os.OpenFile(s.ballast, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		s.t.Fatal(err)
	}
	defer f.Close()
	for piece := make([]byte, 4096); err == nil; {
		_, err = f.Write(piece)
	}
	if !errors.Is(err, unix.ENOSPC) {
		s.t.Fatalf("fill the disk: %v", err)
	}
}

// free makes room again.
func (s *smallDisk) free() {
	s.t.Helper()
	if err := os.Remove(s.ballast); err != nil {
		s.t.Fatal(err)
	}
}

func (s *smallDisk) readOnly(on bool) {
	s.t.Helper()
	if on {
		remount(s.t, s.dir, unix.MS_RDONLY, "")
	} else {
		remount(s.t, s.dir, 0, "")
	}
}

// get gives an answer of the page's address.
func (s *smallDisk) get(path string) (code int, body string) {
	s.t.Helper()
	resp, err := http.Get("http://" + s.page + path)
	if err != nil {
		s.t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return resp.StatusCode, string(b)
}

// The disk fills while readings come in: they wait at the broker, the keeper is
// told once, everything that shows the farm says since when, and all goes on by
// itself when there is room.
func TestFullDisk(t *testing.T) {
	withOwnMounts(t, func(t *testing.T) {
		s := startSmallDisk(t)
		s.load.sends(300)
		s.fill()
		raise := s.cried(farm.Raised)
		if want := "no room left on the disk"; !strings.Contains(raise.Text, want) || raise.Advice == nil || !strings.Contains(raise.Advice.Do, "Make room") {
			t.Errorf("got %q, advice %+v; want it to say %q and what to do", raise.Text, raise.Advice, want)
		}
		s.checkSaysSince(raise.Since)
		s.checkRefusesJots()
		s.load.sends(300)
		s.triesAgain(2)
		s.free()
		ease := s.cried(farm.Eased)
		if ease.Episode != raise.Episode {
			t.Errorf("got the easing of %q, want of %q", ease.Episode, raise.Episode)
		}
		s.checkWell()
		s.rest()
	})
}

// checkSaysSince: page, metrics, health and `now` say since when.
func (s *smallDisk) checkSaysSince(since time.Time) {
	s.t.Helper()
	if code, body := s.get("/healthz"); code != http.StatusServiceUnavailable || !strings.Contains(body, since.UTC().Format(time.RFC3339)) {
		s.t.Errorf("got /healthz %d %q, want 503 and since %s", code, body, since)
	}
	if _, body := s.get("/metrics"); !strings.Contains(body, "\nbinwatch_journal_writable 0\n") {
		s.t.Errorf("got /metrics without binwatch_journal_writable 0:\n%s", body)
	}
	if _, body := s.get("/"); !strings.Contains(body, "Nothing is judged since") || !strings.Contains(body, "the journal can&#39;t be written") {
		s.t.Errorf("got a page that says nothing of it:\n%s", body)
	}
	if v := nowView(s.t, s.cfg); v.Intake.Unwritten == nil || v.Intake.Unwritten.Sub(since).Abs() > time.Second {
		s.t.Errorf("got unwritten since %v, want %s", v.Intake.Unwritten, since)
	}
	if out, _ := runChild(s.t, "now", "--config", s.cfg); !strings.Contains(out, "The journal can't be written since") {
		s.t.Errorf("got from binwatchd now:\n%s", out)
	}
}

// checkRefusesJots: what can't be noted is not said to be noted.
func (s *smallDisk) checkRefusesJots() {
	s.t.Helper()
	if out, code := runChild(s.t, "jot", "bed", "watered", "2", "L", "--config", s.cfg); code != exitWrong || out != "" {
		s.t.Errorf("got exit %d and %q from a jot, want %d and no word of it being noted", code, out, exitWrong)
	}
}

// triesAgain waits until the daemon has tried some times to write.
func (s *smallDisk) triesAgain(n int) {
	s.t.Helper()
	proctest.Eventually(s.t, "the daemon tries again", func() bool { return strings.Count(s.daemon.Log.String(), "journal not written") >= n })
}

// checkWell: what said so does no longer.
func (s *smallDisk) checkWell() {
	s.t.Helper()
	if code, body := s.get("/healthz"); code != http.StatusOK {
		s.t.Errorf("got /healthz %d %q after the outage", code, body)
	}
	if _, body := s.get("/metrics"); !strings.Contains(body, "\nbinwatch_journal_writable 1\n") {
		s.t.Error("got /metrics without binwatch_journal_writable 1 after the outage")
	}
	if v := nowView(s.t, s.cfg); v.Intake.Unwritten != nil {
		s.t.Errorf("got unwritten since %s after the outage", v.Intake.Unwritten)
	}
}

// rest ends the load and counts: nothing lost, nothing twice, nothing
// damaged.
func (s *smallDisk) rest() {
	s.t.Helper()
	s.load.sends(100)
	s.load.stop()
	s.settled("all is in the journal")
	s.daemon.Stop()
	s.kept.read()
	kept, _ := s.kept.check(s.load, nil, nil)
	s.t.Logf("%d numbers sent, %d kept", s.load.tried(), kept)
	if out, code := runChild(s.t, "backup", filepath.Join(s.t.TempDir(), "copy.db"), "--config", s.cfg); code != exitDone {
		s.t.Errorf("got exit %d from a backup of the journal: %s", code, out)
	}
}

// A machine comes up with a full disk, and another time with one that has
// turned read-only: the daemon waits, the keeper is told all the same, and what
// waited at the broker comes in when the disk is mended.
func TestStartOnABadDisk(t *testing.T) {
	withOwnMounts(t, func(t *testing.T) {
		s := startSmallDisk(t)
		s.load.sends(100)

		s.daemon.End(syscall.SIGKILL) // a power cut
		s.fill()
		s.start()
		full := s.cried(farm.Raised)
		s.load.sends(100)
		s.free()
		s.cried(farm.Eased)
		s.load.sends(100)

		s.daemon.Stop() // nothing is left beside the journal
		s.fill()
		s.checkReads("No daemon is running")
		s.start()
		again := s.cried(farm.Raised)
		s.checkReads("The journal can't be written since", "no room left on the disk")
		s.checkRefusesJots()
		s.load.sends(100)
		s.free()
		s.cried(farm.Eased)
		s.load.sends(100)

		s.daemon.Stop() // a disk can't be remounted while it is written to
		s.readOnly(true)
		s.checkReads("No daemon is running")
		s.start()
		only := s.cried(farm.Raised)
		s.checkReads("The journal can't be written since", "the journal can only be read")
		s.load.sends(100)
		s.readOnly(false)
		s.cried(farm.Eased)
		s.checkWell()
		s.rest()
		for _, c := range []struct{ text, why string }{
			{full.Text, "no room left on the disk"}, {again.Text, "no room left on the disk"}, {only.Text, "can only be read"},
		} {
			if !strings.Contains(c.text, c.why) {
				t.Errorf("got %q, want it to say that %s", c.text, c.why)
			}
		}
	})
}

// checkReads: on a disk that can't be written to, what is kept can be looked at
// and taken away, and `now` says how the daemon is.
func (s *smallDisk) checkReads(says ...string) {
	s.t.Helper()
	out, code := runChild(s.t, "now", "--config", s.cfg)
	for _, text := range append(says, "n: ") {
		if code != exitDone || !strings.Contains(out, text) {
			s.t.Errorf("got exit %d from now, want it to say %q:\n%s", code, text, out)
		}
	}
	if out, code := runChild(s.t, "export", "--config", s.cfg); code != exitDone || strings.Count(out, "\n") < 100 {
		s.t.Errorf("got exit %d from export and %d lines", code, strings.Count(out, "\n"))
	}
	if out, code := runChild(s.t, "backup", filepath.Join(s.t.TempDir(), "copy.db"), "--config", s.cfg); code != exitDone {
		s.t.Errorf("got exit %d from a backup to another disk: %s", code, out)
	}
}

// A daemon that waits for its disk stops when it is told to.
func TestStopWhileWaitingForTheDisk(t *testing.T) {
	withOwnMounts(t, func(t *testing.T) {
		s := startSmallDisk(t)
		s.daemon.Stop()
		s.readOnly(true)
		s.start()
		s.daemon.Says("trying again")
		s.daemon.End(syscall.SIGTERM)
		if code := s.daemon.Cmd.ProcessState.ExitCode(); code != exitDone {
			t.Errorf("got exit %d, want %d: a stop is no failure", code, exitDone)
		}
		s.readOnly(false)
	})
}
