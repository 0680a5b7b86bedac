package main

import (
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"

	"binwatchd/internal/farm"
	"binwatchd/internal/proctest"
)

// startOnFolder is a daemon whose journal lies in a folder of its own.
func startOnFolder(t *testing.T) *smallDisk {
	t.Helper()
	dir := t.TempDir()
	s := &smallDisk{dir: filepath.Join(dir, "state"), page: proctest.FreeAddr(t)}
	if err := os.Mkdir(s.dir, 0o750); err != nil {
		t.Fatal(err)
	}
	s.watch(t, dir)
	return s
}

// Somebody deletes the journal, or moves its folder, while readings come in. The
// daemon takes nothing for written, tells the keeper and the health check, keeps
// a second daemon out, and hands out what it still has open; nothing that was
// acknowledged is lost.
func TestJournalIsDeletedWhileRunning(t *testing.T) {
	s := startOnFolder(t)
	s.load.sends(300)
	proctest.Eventually(t, "some of it is kept", func() bool { s.kept.read(); return s.kept.last > 200 })
	for _, name := range []string{"", "-wal", "-shm", ".lock"} {
		if err := os.Remove(s.kept.path + name); err != nil {
			t.Fatal(err)
		}
	}
	raise := s.cried(farm.Raised)
	if !strings.Contains(raise.Text, "was deleted or moved away") || !strings.Contains(raise.Advice.Do, "binwatchd backup") || !strings.Contains(raise.Advice.Do, "Do not stop the daemon") {
		t.Errorf("got %q, advice %q; want what happened and the way out", raise.Text, raise.Advice.Do)
	}
	s.checkSaysSince(raise.Since)
	s.checkRefusesJots()
	s.load.sends(300)
	s.triesAgain(2)

	copied := filepath.Join(t.TempDir(), "saved.db")
	if out, code := runChild(t, "backup", copied, "--config", s.cfg); code != exitDone || !strings.Contains(out, "is sound") {
		t.Fatalf("got exit %d from a backup: %s", code, out)
	}
	if code, _ := s.get("/healthz"); code != http.StatusServiceUnavailable {
		t.Errorf("got /healthz %d after a backup, want it to stay unwell", code)
	}
	s.daemon.End(syscall.SIGKILL)
	if err := os.Rename(copied, s.kept.path); err != nil {
		t.Fatal(err)
	}
	s.kept = newLedger(t, s.kept.path)
	s.start()
	s.rest()
}

// The folder is renamed and put back: all goes on by itself.
func TestJournalsFolderIsMovedAndPutBack(t *testing.T) {
	s := startOnFolder(t)
	s.load.sends(200)
	if err := os.Rename(s.dir, s.dir+"-old"); err != nil {
		t.Fatal(err)
	}
	raise := s.cried(farm.Raised)
	s.load.sends(200)
	s.triesAgain(2)
	if err := os.Rename(s.dir+"-old", s.dir); err != nil {
		t.Fatal(err)
	}
	if ease := s.cried(farm.Eased); ease.Episode != raise.Episode {
		t.Errorf("got the easing of %q, want of %q", ease.Episode, raise.Episode)
	}
	s.checkWell()
	s.rest()
}

// Something is mounted over the folder, and taken off again while the daemon
// runs, which leaves nothing behind that would hold it there.
func TestSomethingIsMountedOverTheJournal(t *testing.T) {
	withOwnMounts(t, func(t *testing.T) {
		s := startOnFolder(t)
		s.load.sends(100)
		if err := errors.Join(unix.Mount("", "/", "", unix.MS_REC|unix.MS_PRIVATE, ""), unix.Mount("tmpfs", s.dir, "tmpfs", 0, "size=1m")); err != nil {
			t.Fatal(err)
		}
		raise := s.cried(farm.Raised)
		s.load.sends(100)
		s.triesAgain(2)
		if err := unix.Unmount(s.dir, 0); err != nil {
			t.Fatalf("take it off: %v", err)
		}
		if ease := s.cried(farm.Eased); ease.Episode != raise.Episode {
			t.Errorf("got the easing of %q, want of %q", ease.Episode, raise.Episode)
		}
		s.rest()
	})
}
