package journal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"golang.org/x/sys/unix"

	"binwatchd/internal/backoff"
)

// lockSuffix names the file beside the journal by which daemons keep clear of
// each other before they look at the journal itself.
const lockSuffix = ".lock"

// What stands in the lock's file while it is held: a daemon has the journal open
// until it is stopped, a command for the moment in which it notes something.
const (
	heldForLong = "a daemon\n"
	heldBriefly = "a command, for a moment\n"
)

// How long a lock is waited for, and how often it is looked at. Who has it says so
// in its file a moment later.
const (
	waitForCommand = 30 * time.Second
	waitForWord    = 500 * time.Millisecond
	lockLook       = 20 * time.Millisecond
)

// awaitLock takes the lock, and waits while a command has it that will soon be
// done. A daemon's it does not wait for.
func awaitLock(ctx context.Context, path string, brief bool) (*os.File, error) {
	for began := time.Now(); ; {
		lock, err := takeLock(path, brief)
		waited := time.Since(began)
		if !errors.Is(err, ErrInUse) || waited > waitForCommand || waited > waitForWord && !isHeldBriefly(path) {
			return lock, err
		}
		if !backoff.Pause(ctx, lockLook) {
			return nil, fmt.Errorf("wait for the journal: %w", ctx.Err())
		}
	}
}

func isHeldBriefly(path string) bool {
	f, err := os.Open(path + lockSuffix)
	if err != nil {
		return false
	}
	defer f.Close()
	word, err := io.ReadAll(io.LimitReader(f, int64(len(heldBriefly))))
	return err == nil && string(word) == heldBriefly
}

// takeLock makes sure that one process at a time writes. It locks a file of its
// own: opening and closing the database file here would drop SQLite's locks on
// it, which belong to the process and not to the descriptor (fcntl(2)).
func takeLock(path string, brief bool) (*os.File, error) {
	f, err := openFile(path+lockSuffix, os.O_RDWR|os.O_CREATE)
	if err != nil {
		return nil, err
	}
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		f.Close()
		if errors.Is(err, unix.EWOULDBLOCK) {
			return nil, fmt.Errorf("open journal %s: %w", path, ErrInUse)
		}
		return nil, fmt.Errorf("lock journal: %w", err)
	}
	word := heldForLong
	if brief {
		word = heldBriefly
	}
	if f.Truncate(0) == nil {
		_, _ = f.WriteString(word) // on a full disk nobody waits, that is all
	}
	return f, nil
}
