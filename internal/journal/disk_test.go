package journal_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// A disk that is full, then read-only, on a small file system of its own.
func TestFullDisk(t *testing.T) { runRole(t, "full disk", t.TempDir(), true) }

// A disk that refuses to write for another reason: a limit on the size of files.
func TestRefusingDisk(t *testing.T) { runRole(t, "file size", t.TempDir(), false) }

func onFullDisk(dir string) error {
	if err := unix.Mount("", "/", "", unix.MS_REC|unix.MS_PRIVATE, ""); err != nil {
		return fmt.Errorf("part from the other mounts: %w", err)
	}
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, "size=1m"); err != nil {
		return fmt.Errorf("mount a small disk: %w", err)
	}
	path := filepath.Join(dir, "journal.db")
	ballast := filepath.Join(dir, "ballast")
	j, err := openNumbered(path)
	if err != nil {
		return err
	}
	if err := os.WriteFile(ballast, make([]byte, 512<<10), 0o600); err != nil {
		return err
	}
	n, err := appendUntilRefused(j, 0)
	if !errors.Is(err, journal.ErrFull) {
		return fmt.Errorf("on a full disk: got %v, want ErrFull", err)
	}
	if err := holdsAndResumes(j, n, func() error { return os.Remove(ballast) }); err != nil {
		return err
	}
	if err := j.Close(); err != nil {
		return err
	}
	if err := filledAfterClose(path, ballast, n+16); err != nil {
		return fmt.Errorf("on a disk that filled after a clean stop: %w", err)
	}
	if err := unix.Mount("", dir, "", unix.MS_REMOUNT|unix.MS_RDONLY, ""); err != nil {
		return fmt.Errorf("make the disk read-only: %w", err)
	}
	if err := canBeRead(path, n+32); err != nil {
		return fmt.Errorf("on a read-only disk: %w", err)
	}
	if _, err := journal.Open(context.Background(), config(path)); !errors.Is(err, journal.ErrReadOnly) {
		return fmt.Errorf("on a read-only disk: got %v, want ErrReadOnly", err)
	}
	if _, err := journal.Open(context.Background(), config(filepath.Join(dir, "new.db"))); !errors.Is(err, journal.ErrReadOnly) {
		return fmt.Errorf("a new journal on a read-only disk: got %v, want ErrReadOnly", err)
	}
	return nil
}

func onLimitedFile(dir string) error {
	signal.Ignore(unix.SIGXFSZ) // else the process dies of what the write is to report
	j, err := openNumbered(filepath.Join(dir, "journal.db"))
	if err != nil {
		return err
	}
	var was unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_FSIZE, &was); err != nil {
		return err
	}
	if err := unix.Setrlimit(unix.RLIMIT_FSIZE, &unix.Rlimit{Cur: 256 << 10, Max: was.Max}); err != nil {
		return err
	}
	n, err := appendUntilRefused(j, 0)
	if !errors.Is(err, journal.ErrDisk) {
		return fmt.Errorf("on a disk that refuses: got %v, want ErrDisk", err)
	}
	err = holdsAndResumes(j, n, func() error { return unix.Setrlimit(unix.RLIMIT_FSIZE, &was) })
	return errors.Join(err, j.Close())
}

func openNumbered(path string) (*journal.Journal, error) {
	j, err := journal.Open(context.Background(), config(path))
	if err != nil {
		return nil, err
	}
	return j, j.SetFarm(context.Background(), nursery())
}

// appendUntilRefused gives the number of the last reading that was written, and
// why the next batch was not.
func appendUntilRefused(j *journal.Journal, n int) (int, error) {
	for {
		b := numberedBatch(n, 16)
		if err := j.Append(context.Background(), b); err != nil {
			return n, err
		}
		n += len(b.Entries)
	}
}

// holdsAndResumes checks that nothing is lost or half written while nothing can
// be written, and that all goes on once it can.
func holdsAndResumes(j *journal.Journal, n int, mend func() error) error {
	for range 3 {
		if err := j.Append(context.Background(), numberedBatch(n, 16)); err == nil {
			return errors.New("a write went through that can't have")
		}
		if err := holds(j, n); err != nil {
			return fmt.Errorf("meanwhile: %w", err)
		}
	}
	if err := mend(); err != nil {
		return err
	}
	if err := j.Append(context.Background(), numberedBatch(n, 16)); err != nil {
		return fmt.Errorf("after it was mended: %w", err)
	}
	if _, err := j.Compact(context.Background(), timeOf(n).Add(30*24*time.Hour), true); err != nil {
		return fmt.Errorf("after it was mended: %w", err)
	}
	if d := j.Health().Damage; d != "" {
		return fmt.Errorf("it passes for damaged: %s", d)
	}
	return holds(j, n+16)
}

// filledAfterClose checks a disk that fills when the files are gone that SQLite
// puts beside the journal. It leaves a batch more in it, and room.
func filledAfterClose(path, ballast string, n int) error {
	if err := fillUp(ballast); err != nil {
		return err
	}
	if _, err := journal.Open(context.Background(), config(path)); !errors.Is(err, journal.ErrFull) {
		return fmt.Errorf("got %v, want ErrFull", err)
	}
	if err := canBeRead(path, n); err != nil {
		return err
	}
	reader, err := journal.OpenReadOnly(context.Background(), config(path))
	if err != nil {
		return err
	}
	defer reader.Close()
	if err := os.Remove(ballast); err != nil {
		return err
	}
	j, err := openNumbered(path)
	if err != nil {
		return err
	}
	if err := j.Append(context.Background(), numberedBatch(n, 16)); err != nil {
		return err
	}
	if err := holds(reader, n); err == nil {
		return errors.New("a reader without a lock does not notice that a daemon has begun to write")
	}
	if err := j.Close(); err != nil {
		return err
	}
	if err := holds(reader, n); err == nil {
		return errors.New("a reader without a lock does not notice that a daemon has written")
	}
	return nil
}

// fillUp leaves no byte free on a disk.
func fillUp(ballast string) error {
	f, err := os.OpenFile(ballast, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer f.Close()
	for piece := make([]byte, 4096); err == nil; {
		_, err = f.Write(piece)
	}
	if !errors.Is(err, unix.ENOSPC) {
		return fmt.Errorf("fill the disk: %w", err)
	}
	return nil
}

// canBeRead checks that a journal nobody has open can be read and copied to
// another disk, though nothing can be written beside it.
func canBeRead(path string, n int) error {
	j, err := journal.OpenReadOnly(context.Background(), config(path))
	if err != nil {
		return err
	}
	defer j.Close()
	if err := holds(j, n); err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "copy")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	return j.Backup(context.Background(), filepath.Join(dir, "copy.db"))
}

// holds checks that the journal has the readings 1 to n and no others.
func holds(j *journal.Journal, n int) error {
	i := 0
	err := j.Replay(context.Background(), 0, func(e farm.Event) error {
		i++
		if e.Reading.Raw != float64(i) {
			return fmt.Errorf("event %d: got reading %v", i, e.Reading.Raw)
		}
		return nil
	})
	if err != nil {
		return err
	}
	if i != n {
		return fmt.Errorf("got %d readings, want %d", i, n)
	}
	return nil
}
