package journal_test

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"binwatchd/internal/journal"
)

// copied is a journal of some batches that is open, and a copy from before the last.
func copied(t *testing.T) (path, file string, j *journal.Journal) {
	t.Helper()
	path, file = newPath(t), filepath.Join(t.TempDir(), "monday.db")
	j = open(t, path)
	for n := 0; n < 64; n += 16 {
		if n == 32 {
			if err := j.Backup(t.Context(), file); err != nil {
				t.Fatal(err)
			}
		}
		if err := j.Append(t.Context(), numberedBatch(n, 16)); err != nil {
			t.Fatal(err)
		}
	}
	return path, file, j
}

func TestRestorePutsACopyBack(t *testing.T) {
	path, file, j := copied(t)
	if _, err := journal.Restore(t.Context(), config(path), file); !errors.Is(err, journal.ErrInUse) {
		t.Fatalf("beside a daemon: got %v, want ErrInUse", err)
	}
	before := listing(t, filepath.Dir(path))
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	r, err := journal.Restore(t.Context(), config(path), file)
	if err != nil {
		t.Fatal(err)
	}
	if r.Readings != 32 || r.Unread != nil || r.Missing.Readings != 32 || !r.Missing.First.Equal(timeOf(33)) || !r.Missing.Last.Equal(timeOf(64)) {
		t.Errorf("restored %+v, want 32 readings there and 32 missing from %v (before: %q)", r, timeOf(33), before)
	}
	if r.Aside != "journal.db.before-"+start.Format("20060102T150405Z") {
		t.Errorf("set aside as %q", r.Aside)
	}
	j = open(t, path)
	checkNumbered(t, j, 32)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}

	// And back again: what was set aside is as good as a copy.
	r, err = journal.Restore(t.Context(), config(path), filepath.Join(filepath.Dir(path), r.Aside))
	if err != nil || r.Readings != 64 || r.Missing.Readings != 0 || !strings.HasSuffix(r.Aside, "Z-2") {
		t.Errorf("taken back: %+v, %v", r, err)
	}
	checkNumbered(t, open(t, path), 64)
}

// A daemon that was killed has left a log, and the last of its readings are there.
func TestRestoreOverAKilledDaemon(t *testing.T) {
	path, file, j := copied(t)
	dir := t.TempDir()
	for _, suffix := range []string{"", "-wal"} {
		write(t, filepath.Join(dir, "journal.db"+suffix), contents(t, path+suffix))
	}
	j.Close()
	r, err := journal.Restore(t.Context(), config(filepath.Join(dir, "journal.db")), file)
	if err != nil || r.Missing.Readings != 32 || r.Unread != nil {
		t.Errorf("got %+v, %v, want 32 missing", r, err)
	}
	if got := listing(t, dir); slices.ContainsFunc(got, func(s string) bool { return strings.Contains(s, "journal.db-wal") || strings.Contains(s, "restoring") }) {
		t.Errorf("there is %q, want no log of the old journal beside the new one", got)
	}
}

// What can't be put back leaves everything as it is.
func TestRestoreRefuses(t *testing.T) {
	for name, spoil := range map[string]func(t *testing.T, file string){
		"missing":       func(t *testing.T, file string) { os.Remove(file) },
		"empty":         func(t *testing.T, file string) { write(t, file, nil) },
		"a text":        func(t *testing.T, file string) { write(t, file, []byte(strings.Repeat("letters\n", 500))) },
		"half":          func(t *testing.T, file string) { b := contents(t, file); write(t, file, b[:len(b)/2]) },
		"another's":     func(t *testing.T, file string) { os.Remove(file); alter(t, file, `CREATE TABLE album (title TEXT)`) },
		"a newer":       func(t *testing.T, file string) { alter(t, file, `PRAGMA user_version = 99`) },
		"without index": func(t *testing.T, file string) { alter(t, file, `DROP TABLE reading_1`) },
	} {
		t.Run(name, func(t *testing.T) {
			path, file, j := copied(t)
			j.Close()
			spoil(t, file)
			was := contents(t, path)
			r, err := journal.Restore(t.Context(), config(path), file)
			if err == nil {
				t.Fatalf("got %+v and no error", r)
			}
			if string(contents(t, path)) != string(was) {
				t.Error("the journal is another one")
			}
			if got := listing(t, filepath.Dir(path)); slices.ContainsFunc(got, func(s string) bool { return strings.Contains(s, "before") || strings.Contains(s, "restoring") }) {
				t.Errorf("there is %q", got)
			}
		})
	}
}

// A damaged journal is set aside all the same; on a new card there is none.
func TestRestoreOverDamageAndOverNothing(t *testing.T) {
	path, file, j := copied(t)
	j.Close()
	write(t, path, []byte(strings.Repeat("no database\n", 1000)))
	write(t, path+".damage", []byte("worn\n"))
	r, err := journal.Restore(t.Context(), config(path), file)
	if err != nil || r.Unread == nil || r.Aside == "" {
		t.Errorf("over a damaged one: %+v, %v", r, err)
	}
	checkNumbered(t, open(t, path), 32)
	fresh := filepath.Join(t.TempDir(), "journal.db")
	if os.Geteuid() == 0 {
		if err := os.Chown(filepath.Dir(fresh), 1234, 1235); err != nil {
			t.Fatal(err)
		}
	}
	if r, err = journal.Restore(t.Context(), config(fresh), file); err != nil || r.Aside != "" {
		t.Errorf("over nothing: %+v, %v", r, err)
	}
	if os.Geteuid() == 0 { // sudo makes nothing that the daemon can't write
		for _, p := range []string{fresh, fresh + ".lock"} {
			info, err := os.Stat(p)
			if err != nil || info.Sys().(*syscall.Stat_t).Uid != 1234 || info.Sys().(*syscall.Stat_t).Gid != 1235 {
				t.Errorf("%s does not belong to whom its folder does: %v", p, err)
			}
		}
	}
}

// A journal begun after a damage is another one: all of it is missing from a copy of
// the one before.
func TestRestoreOverAnotherJournal(t *testing.T) {
	_, file, _ := copied(t)
	path := newPath(t)
	j := open(t, path)
	appendEvents(t, j, reading("bed-t", start.Add(time.Hour), 61, 61))
	j.Close()
	r, err := journal.Restore(t.Context(), config(path), file)
	if err != nil || r.Missing.Readings != 1 {
		t.Errorf("got %+v, %v, want the one reading missing", r, err)
	}
}
