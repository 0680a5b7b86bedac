package journal_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// Restoring by hand: the copy is put where the journal was, and everything that
// belonged to the old one is moved out of the way.
func TestBackupWhileWritingAndRestore(t *testing.T) {
	ctx := context.Background()
	path := newPath(t)
	j := open(t, path)
	n := 0
	for ; n < 320; n += 16 {
		if err := j.Append(ctx, numberedBatch(n, 16)); err != nil {
			t.Fatal(err)
		}
	}
	compactAll(t, j, timeOf(n).Add(30*24*time.Hour))

	copied := filepath.Join(t.TempDir(), "copy.db")
	stop, done := make(chan struct{}), make(chan error, 1)
	go func() {
		for n := n; ; n += 16 {
			select {
			case <-stop:
				done <- nil
				return
			default:
			}
			if err := j.Append(ctx, numberedBatch(n, 16)); err != nil {
				done <- err
				return
			}
		}
	}()
	err := j.Backup(ctx, copied)
	close(stop)
	if err := errors.Join(err, <-done, j.Close()); err != nil {
		t.Fatal(err)
	}
	c, err := journal.Verify(ctx, copied)
	if err != nil {
		t.Fatal(err)
	}
	if c.Readings < int64(n) || c.Readings%16 != 0 || c.Changes != c.Readings/16 || c.Owed != c.Changes || !c.First.Equal(timeOf(1)) {
		t.Errorf("the copy holds %+v, want whole batches and at least %d readings", c, n)
	}

	old := t.TempDir()
	for _, suffix := range []string{"", "-wal", "-shm"} {
		if err := os.Rename(path+suffix, filepath.Join(old, "journal.db"+suffix)); err != nil && !errors.Is(err, os.ErrNotExist) {
			t.Fatal(err)
		}
	}
	if err := os.Rename(copied, path); err != nil {
		t.Fatal(err)
	}
	j = open(t, path)
	checkNumbered(t, j, int(c.Readings))
	next := appendEvents(t, j, reading("bed-t2", timeOf(1), 1, 1))[0].Seq
	if next != c.Readings+1 {
		t.Errorf("after restoring: the next reading is %d, want %d", next, c.Readings+1)
	}
}

func TestBackupOverwritesNothing(t *testing.T) {
	j := open(t, newPath(t))
	path := filepath.Join(t.TempDir(), "there")
	write(t, path, []byte("mine"))
	if err := j.Backup(context.Background(), path); err == nil {
		t.Error("got no error")
	}
	if got := contents(t, path); string(got) != "mine" {
		t.Errorf("the file that was there: got %q", got)
	}
	if err := j.Backup(context.Background(), filepath.Join(t.TempDir(), "no", "such")); err == nil {
		t.Error("into no directory: got no error")
	}
	if err := j.Backup(context.Background(), path+"'; DROP TABLE event; --"); err != nil {
		t.Errorf("a path with quotes: %v", err)
	}
}

func TestVerifyRefuses(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	write(t, filepath.Join(dir, "text"), []byte(strings.Repeat("no database\n", 1000)))
	write(t, filepath.Join(dir, "empty"), nil)
	for _, name := range []string{"text", "empty", "missing"} {
		if _, err := journal.Verify(ctx, filepath.Join(dir, name)); err == nil {
			t.Errorf("%s: got no error", name)
		}
	}
}

// Readers, the compaction, the outbox and a backup beside the writer: the race
// detector watches, and every answer is of one moment.
func TestManyAtOnce(t *testing.T) {
	ctx := context.Background()
	path := newPath(t)
	j := open(t, path)
	var wg sync.WaitGroup
	stop := make(chan struct{})
	again := func(what string, fn func() error) {
		wg.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
				}
				if err := fn(); err != nil {
					t.Errorf("%s: %v", what, err)
					return
				}
			}
		})
	}
	end := timeOf(5000)
	again("replay", func() error {
		n := 0
		return j.Replay(ctx, 0, func(e farm.Event) error {
			if n++; e.Reading.Raw != float64(n) {
				return errors.New("a reading is missing or comes twice")
			}
			return nil
		})
	})
	again("samples", func() error {
		got, err := j.Samples(ctx, "bed", "near", farm.Temperature, start, end, 24*time.Hour)
		for _, s := range got[:max(0, len(got)-1)] { // the last day is not over
			if s.N != 8 && s.At.After(start) {
				return errors.New("a day has not its eight readings")
			}
		}
		return err
	})
	again("outbox", func() error {
		due, err := j.Owed(ctx, keeper, end, 3)
		for _, o := range due {
			err = errors.Join(err, j.Settle(ctx, end, farm.Fated{Fate: farm.Told, IDs: []int64{o.ID}}))
		}
		return err
	})
	again("sizes", func() error { _, err := j.Sizes(ctx); return err })
	for n := 0; n < 800; n += 16 {
		if err := j.Append(ctx, numberedBatch(n, 16)); err != nil {
			t.Fatal(err)
		}
		if n%160 == 0 {
			if _, err := j.Compact(ctx, timeOf(n), true); err != nil {
				t.Fatal(err)
			}
		}
	}
	close(stop)
	wg.Wait()
}
