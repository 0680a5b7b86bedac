package journal_test

import (
	"context"
	"database/sql"
	"errors"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/journal"
)

func brief(path string) journal.Config {
	c := config(path)
	c.Brief = true
	return c
}

// A daemon that starts while a command has the journal for a moment waits until
// it is done, instead of taking it for another daemon.
func TestADaemonWaitsForACommand(t *testing.T) {
	path := newPath(t)
	command, err := journal.Open(t.Context(), brief(path))
	if err != nil {
		t.Fatal(err)
	}
	opened := make(chan error, 1)
	var daemon *journal.Journal
	go func() {
		var err error
		daemon, err = journal.Open(t.Context(), config(path))
		opened <- err
	}()
	select {
	case err := <-opened:
		t.Fatalf("it did not wait: %v", err)
	case <-time.After(700 * time.Millisecond): // longer than it waits for a daemon's word; a short look can miss a fault, never invent one
	}
	if err := command.Close(); err != nil {
		t.Fatal(err)
	}
	if err := <-opened; err != nil {
		t.Fatal(err)
	}
	if _, err := journal.Open(t.Context(), brief(path)); !errors.Is(err, journal.ErrInUse) {
		t.Errorf("a command beside the daemon: got %v, want ErrInUse", err)
	}
	if err := daemon.Close(); err != nil {
		t.Error(err)
	}
}

// Whoever waits for a command can be told to stop.
func TestWaitingForACommandEnds(t *testing.T) {
	path := newPath(t)
	command, err := journal.Open(t.Context(), brief(path))
	if err != nil {
		t.Fatal(err)
	}
	defer command.Close()
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, err := journal.Open(ctx, config(path)); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want canceled", err)
	}
}

// The lock of somebody who looks into the file is called what it is.
func TestAnotherProgramsLockIsNoDaemon(t *testing.T) {
	t.Parallel()
	path := newPath(t)
	open(t, path).Close()
	shell, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer shell.Close()
	shell.SetMaxOpenConns(1)
	if _, err := shell.Exec("BEGIN IMMEDIATE"); err != nil {
		t.Fatal(err)
	}
	j, err := journal.Open(t.Context(), config(path))
	if err == nil {
		j.Close()
	}
	if !errors.Is(err, journal.ErrLocked) || errors.Is(err, journal.ErrInUse) || strings.Contains(err.Error(), "another binwatchd") {
		t.Errorf("got %v, want ErrLocked", err)
	}
	if _, err := shell.Exec("ROLLBACK"); err != nil {
		t.Fatal(err)
	}
	open(t, path).Close()
}
