package main

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"binwatchd/internal/config"
	"binwatchd/internal/control"
	"binwatchd/internal/journal"
)

// The socket lies beside the journal where nothing else is said, and goes with
// its folder. Commands must find the daemon again: it has the journal open still.
func TestSocketIsMadeAgainWithItsFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "state")
	if err := os.Mkdir(dir, 0o750); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "binwatchd.sock")
	var s controlSocket
	if err := s.open(&config.Config{File: config.File{Control: path}}, waitingDaemon{}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.close() })
	answers := func(want error) {
		t.Helper()
		if err := s.keep(); err != nil {
			t.Fatal(err)
		}
		c, err := control.NewClient(path, "").Copy(t.Context())
		if c != nil {
			c.Close()
		}
		if !errors.Is(err, want) {
			t.Errorf("got %v, want %v", err, want)
		}
	}
	answers(control.ErrInPlace)
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	answers(control.ErrNoDaemon) // nothing may be made there: the folder may be put back
	if _, err := openToRead(t.Context(), &config.Config{File: config.File{Journal: journal.Settings{Path: filepath.Join(dir, "journal.db")}}}); err == nil || !strings.Contains(err.Error(), "do not stop it") {
		t.Errorf("got %v, want a warning not to stop the daemon", err)
	}
	if _, err := os.Stat(dir); err == nil {
		t.Error("the folder was made")
	}
	if err := os.Mkdir(dir, 0o750); err != nil {
		t.Fatal(err)
	}
	answers(control.ErrInPlace)
	if err := os.Rename(dir, dir+"-old"); err != nil {
		t.Fatal(err)
	}
	answers(control.ErrNoDaemon)
	if err := os.Rename(dir+"-old", dir); err != nil {
		t.Fatal(err)
	}
	answers(control.ErrInPlace)
}

// A socket shared by mistake gives no farm the view of another.
func TestACommandIsNotAnsweredForAnotherFarm(t *testing.T) {
	dir := t.TempDir()
	ours := &config.Config{File: config.File{Control: filepath.Join(dir, "s"), Journal: journal.Settings{Path: filepath.Join(dir, "ours.db")}}}
	theirs := &config.Config{File: config.File{Control: ours.Control, Journal: journal.Settings{Path: filepath.Join(dir, "theirs.db")}}}
	var s controlSocket
	if err := s.open(ours, waitingDaemon{}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.close() })
	if _, err := client(ours).Copy(t.Context()); !errors.Is(err, control.ErrInPlace) {
		t.Errorf("our own daemon says %v", err)
	}
	_, err := view(t.Context(), theirs, true)
	if err == nil || !strings.Contains(err.Error(), "keeps the journal "+ours.Journal.Path) {
		t.Errorf("got %v, want the word that another farm's daemon is there", err)
	}
}
