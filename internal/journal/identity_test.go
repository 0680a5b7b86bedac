package journal_test

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"binwatchd/internal/journal"
)

// Every way in which the file under an open journal has been seen to go: nothing
// more is taken for written, it is told what happened, and where all is still
// open, it can be saved from there.
func TestFileThatGoesFromUnderAnOpenJournal(t *testing.T) {
	mv := func(from, to string) error { return os.Rename(from, to) }
	for name, c := range map[string]struct {
		do   func(path, side string) error
		back func(path, side string) error // nil: it can't be put back
		what journal.What
		open bool
	}{
		"deleted": {func(p, _ string) error { return os.Remove(p) }, nil, journal.Gone, true},
		"all deleted": {func(p, _ string) error {
			return errors.Join(os.Remove(p), os.Remove(p+"-wal"), os.Remove(p+"-shm"), os.Remove(p+".lock"))
		}, nil, journal.Gone, true},
		"moved and put back": {func(p, s string) error { return mv(p, s) }, func(p, s string) error { return mv(s, p) }, journal.Gone, true},
		"all moved and put back": {
			func(p, s string) error { return errors.Join(mv(p, s), mv(p+"-wal", s+"-wal"), mv(p+"-shm", s+"-shm")) },
			func(p, s string) error { return errors.Join(mv(s, p), mv(s+"-wal", p+"-wal"), mv(s+"-shm", p+"-shm")) }, journal.Gone, true,
		},
		"directory renamed": {
			func(p, _ string) error { return mv(filepath.Dir(p), filepath.Dir(p)+"-old") },
			func(p, _ string) error { return mv(filepath.Dir(p)+"-old", filepath.Dir(p)) }, journal.Gone, true,
		},
		"replaced by a copy": {func(p, s string) error {
			return errors.Join(copyFile(p, s), mv(s, p))
		}, nil, journal.Replaced, true},
		"replaced by an empty file": {func(p, s string) error { return errors.Join(mv(p, s), os.WriteFile(p, nil, 0o640)) }, func(p, s string) error { return mv(s, p) }, journal.Replaced, true},
		"emptied":                   {func(p, _ string) error { return os.Truncate(p, 0) }, nil, journal.CutShort, false},
		"cut short":                 {func(p, _ string) error { return os.Truncate(p, 1024) }, nil, journal.CutShort, false},
		"copied over": {func(p, s string) error {
			return copyFile(s+".earlier", p)
		}, nil, 0, false}, // cut short or rewritten, as the sizes have it
		"log cut": {func(p, _ string) error { return os.Truncate(p+"-wal", 2000) }, nil, journal.LogCut, false},
	} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "state")
			if err := os.Mkdir(dir, 0o750); err != nil {
				t.Fatal(err)
			}
			path, side := filepath.Join(dir, "journal.db"), filepath.Join(dir, "aside.db")
			j, err := openNumbered(path)
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { j.Close() })
			n := appendSome(t, j, 0, 60)
			if err := j.Backup(context.Background(), side+".earlier"); err != nil {
				t.Fatal(err)
			}
			n = appendSome(t, j, n, 60)
			if err := j.InPlace(); err != nil {
				t.Fatalf("before: %v", err)
			}
			if err := c.do(path, side); err != nil {
				t.Fatal(err)
			}
			var moved *journal.MovedError
			if err := j.Append(context.Background(), numberedBatch(n, 16)); !errors.As(err, &moved) || c.what != 0 && moved.What != c.what {
				t.Fatalf("append: got %v, want it refused with %d", err, c.what)
			}
			if err := j.InPlace(); !errors.As(err, &moved) {
				t.Errorf("in place: got %v", err)
			}
			if h := j.Health(); h.Damage != "" {
				t.Errorf("taken for damaged: %s", h.Damage)
			}
			if moved.Open() != c.open {
				t.Errorf("open is %v, want %v", moved.Open(), c.open)
			}
			saved := saveOpen(t, j, c.open, n)
			if c.back == nil {
				return
			}
			if err := c.back(path, side); err != nil {
				t.Fatal(err)
			}
			if err := j.Renew(context.Background()); err != nil {
				t.Fatalf("after it was put back: %v", err)
			}
			n = appendSome(t, j, n, 16)
			if err := holds(j, n); err != nil {
				t.Errorf("after it was put back: %v", err)
			}
			if err := canBeRead(saved, n-16); err != nil {
				t.Errorf("what was saved meanwhile: %v", err)
			}
		})
	}
}

// saveOpen saves what is open, where that can be, and checks what was saved.
func saveOpen(t *testing.T, j *journal.Journal, can bool, n int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "saved.db")
	var copied bytes.Buffer
	err := j.CopyOpen(context.Background(), &copied)
	if !can {
		if err == nil || copied.Len() > 0 {
			t.Errorf("copied %d bytes of what is not whole", copied.Len())
		}
		return ""
	}
	if err != nil {
		t.Fatalf("copy: %v", err)
	}
	if err := journal.Receive(context.Background(), path, &copied); err != nil {
		t.Fatalf("receive: %v", err)
	}
	if err := canBeRead(path, n); err != nil {
		t.Errorf("what was saved: %v", err)
	}
	return path
}

// A log that is taken away from beside the file costs nothing: what it held is
// brought into the file, and a new one is begun.
func TestLogThatIsTakenAway(t *testing.T) {
	for _, suffixes := range [][]string{{"-wal"}, {"-shm"}, {"-wal", "-shm"}} {
		path := newPath(t)
		j, err := openNumbered(path)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { j.Close() })
		n := appendSome(t, j, 0, 60)
		for _, s := range suffixes {
			if err := os.Remove(path + s); err != nil {
				t.Fatal(err)
			}
		}
		var moved *journal.MovedError
		if err := j.Append(context.Background(), numberedBatch(n, 16)); !errors.As(err, &moved) || moved.What != journal.LogGone {
			t.Fatalf("%v: got %v, want the log to be missed", suffixes, err)
		}
		if err := j.Renew(context.Background()); err != nil {
			t.Fatalf("%v: %v", suffixes, err)
		}
		if err := j.SetFarm(context.Background(), nursery()); err != nil {
			t.Fatal(err)
		}
		n = appendSome(t, j, n, 16)
		if err := canBeRead(path, n); err != nil { // as another process sees it
			t.Errorf("%v: %v", suffixes, err)
		}
	}
}

// A person who looks at the journal with SQLite's own tools, or touches its
// file, does no harm and stops nothing.
func TestOthersMayLookAndTouch(t *testing.T) {
	path := newPath(t)
	j, err := openNumbered(path)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	n := appendSome(t, j, 0, 60)
	alter(t, path, `PRAGMA wal_checkpoint(TRUNCATE)`)
	n = appendSome(t, j, n, 16)
	if err := os.Chtimes(path, start, start); err != nil {
		t.Fatal(err)
	}
	n = appendSome(t, j, n, 16)
	if err := holds(j, n); err != nil {
		t.Error(err)
	}
}

// A second daemon is kept out by whatever name it knows the file, also when the
// file has been moved, and where its lock was moved with it.
func TestSecondDaemonIsKeptOutByEveryName(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "journal.db")
	j, err := openNumbered(path)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	sym, hard, moved := filepath.Join(t.TempDir(), "sym.db"), filepath.Join(dir, "hard.db"), filepath.Join(dir, "moved.db")
	linked := filepath.Join(t.TempDir(), "state")
	if err := errors.Join(os.Symlink(path, sym), os.Link(path, hard), os.Symlink(dir, linked)); err != nil {
		t.Fatal(err)
	}
	t.Chdir(dir)
	refused := func(name string) {
		t.Helper()
		other, err := journal.Open(context.Background(), config(name))
		if err == nil {
			other.Close()
		}
		if !errors.Is(err, journal.ErrInUse) {
			t.Errorf("%s: got %v, want ErrInUse", name, err)
		}
	}
	for _, name := range []string{path, sym, hard, "journal.db", "./journal.db", filepath.Join(linked, "journal.db")} {
		refused(name)
	}
	if err := os.Rename(path, moved); err != nil {
		t.Fatal(err)
	}
	refused(moved)
	refused(path)
	if err := os.Rename(moved, path); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(path + ".lock"); err != nil {
		t.Fatal(err)
	}
	if err := j.InPlace(); err != nil { // the minute's look
		t.Fatal(err)
	}
	if err := errors.Join(os.Remove(path), os.Remove(path+".lock"), os.Remove(path+"-wal"), os.Remove(path+"-shm")); err != nil {
		t.Fatal(err)
	}
	if err := j.InPlace(); err == nil {
		t.Error("in place, with no file left")
	}
	refused(path)
}

// What SQLite drops from the end of a torn log is said in a line; an end that is
// whole says nothing.
func TestTornLogIsSaid(t *testing.T) {
	for name, c := range map[string]struct {
		tear func(log []byte, index []byte) ([]byte, []byte)
		says string // "": nothing
		kept int
	}{
		"whole": {func(l, i []byte) ([]byte, []byte) { return l, i }, "", 12},
		"a bit turned in the last commit": {func(l, i []byte) ([]byte, []byte) {
			l[len(l)-100] ^= 1
			return l, nil
		}, "may be missing", 11},
		"cut off, and the index knows": {func(l, i []byte) ([]byte, []byte) {
			return l[:len(l)-2072], i
		}, "may be missing", 11},
		"the begin of another write": {func(l, i []byte) ([]byte, []byte) {
			return append(l, append(bytes.Clone(l[32:36]), append(make([]byte, 4), l[40:48]...)...)...), nil
		}, "", 12}, // less than a frame's head is nothing
		"a write that was not finished": {func(l, i []byte) ([]byte, []byte) {
			head := append(append(bytes.Clone(l[32:36]), make([]byte, 4)...), l[40:48]...)
			return append(l, append(head, make([]byte, 500)...)...), nil
		}, "never finished", 12},
	} {
		t.Run(name, func(t *testing.T) {
			from, path := newPath(t), newPath(t)
			j, err := openNumbered(from)
			if err != nil {
				t.Fatal(err)
			}
			for n := range 12 {
				appendSome(t, j, n, 1)
			}
			// What a process leaves that is killed now.
			for _, s := range []string{"", "-wal", "-shm"} {
				if err := copyFile(from+s, path+s); err != nil {
					t.Fatal(err)
				}
			}
			j.Close()
			log, index := c.tear(must(os.ReadFile(path+"-wal")), must(os.ReadFile(path+"-shm")))
			if err := os.WriteFile(path+"-wal", log, 0o640); err != nil {
				t.Fatal(err)
			}
			if index == nil {
				os.Remove(path + "-shm")
			}
			var said bytes.Buffer
			again := open(t, path, func(cfg *journal.Config) {
				cfg.Log = slog.New(slog.NewTextHandler(&said, nil))
			})
			if err := holds(again, c.kept); err != nil {
				t.Error(err)
			}
			h := again.Health()
			again.Close() // and with it the check, which writes to the log too
			if torn := strings.Contains(said.String(), "the end of the journal's log"); torn != (c.says != "") || !strings.Contains(said.String(), c.says) {
				t.Errorf("said %q, want %q", said.String(), c.says)
			}
			if (h.Torn > 0) != (c.says != "") {
				t.Errorf("torn is %d frames", h.Torn)
			}
		})
	}
}

// appendSome appends so many readings after the nth, and gives the last's number.
func appendSome(t *testing.T, j *journal.Journal, n, some int) int {
	t.Helper()
	for to := n + some; n < to; {
		k := min(16, to-n)
		if err := j.Append(context.Background(), numberedBatch(n, k)); err != nil {
			t.Fatalf("append after %d: %v", n, err)
		}
		n += k
	}
	return n
}

func copyFile(from, to string) error {
	b, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	return os.WriteFile(to, b, 0o640) // as cp does: the same file with other content
}

func must(b []byte, err error) []byte {
	if err != nil {
		panic(err)
	}
	return b
}
