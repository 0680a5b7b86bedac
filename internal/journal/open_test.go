package journal_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

func TestOpenRefuses(t *testing.T) {
	for _, c := range []struct {
		name string
		make func(t *testing.T, path string)
		is   error
		says string
	}{
		{"a newer schema", func(t *testing.T, path string) {
			open(t, path).Close()
			alter(t, path, `PRAGMA user_version = 99`)
		}, journal.ErrNewer, "schema 99"},
		{"another program's database", func(t *testing.T, path string) {
			alter(t, path, `CREATE TABLE album (title TEXT)`)
		}, nil, "another program"},
		{"a missing directory", func(t *testing.T, path string) {
			if err := os.Remove(filepath.Dir(path)); err != nil {
				t.Fatal(err)
			}
		}, nil, "there is no directory"},
		{"a second daemon", func(t *testing.T, path string) { open(t, path) }, journal.ErrInUse, "another binwatchd"},
		{"a text", func(t *testing.T, path string) { write(t, path, []byte("bins:\n  - name: bed\n")) }, nil, "no journal, but another kind of file"},
		{"a text of a few letters", func(t *testing.T, path string) { write(t, path, []byte("hi")) }, nil, "another kind of file"},
		{"a directory in its place", func(t *testing.T, path string) {
			if err := os.Mkdir(path, 0o750); err != nil {
				t.Fatal(err)
			}
		}, nil, "journal"},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "var", "journal.db")
			if err := os.Mkdir(filepath.Dir(path), 0o750); err != nil {
				t.Fatal(err)
			}
			c.make(t, path)
			j, err := journal.Open(context.Background(), config(path))
			if err == nil {
				j.Close()
				t.Fatal("got no error")
			}
			if c.is != nil && !errors.Is(err, c.is) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %q, want it to say %q", err, c.says)
			}
			for _, entry := range listing(t, filepath.Dir(filepath.Dir(path))) {
				if strings.Contains(entry, "damaged") {
					t.Errorf("it was taken for damaged: %s", entry)
				}
			}
		})
	}
}

func listing(t *testing.T, root string) (names []string) {
	t.Helper()
	err := filepath.WalkDir(root, func(path string, _ os.DirEntry, err error) error {
		names = append(names, filepath.Base(path))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return names
}

func TestReadOnlyBesideARunningDaemon(t *testing.T) {
	ctx := context.Background()
	path := newPath(t)
	if _, err := journal.OpenReadOnly(ctx, config(path)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("where there is no journal: got %v, want ErrNotExist", err)
	}
	j := open(t, path)
	want := fill(t, j, days(24, start, 8*24*time.Hour, time.Hour))
	beside, err := journal.OpenReadOnly(ctx, config(path))
	if err != nil {
		t.Fatal(err)
	}
	defer beside.Close()
	same(t, "beside", replay(t, beside, 0), want)
	end := start.Add(9 * 24 * time.Hour)
	hours := samples(t, beside, "bed", "near", farm.Temperature, start, end, time.Hour)

	compactAll(t, j, start.Add(20*24*time.Hour))
	nearly(t, "after the daemon has packed", samples(t, beside, "bed", "near", farm.Temperature, start, end, time.Hour), hours)
	want = append(want, fill(t, j, days(25, end, time.Hour, time.Minute))...)
	same(t, "as it grows", replay(t, beside, 0), want)
	if err := beside.Append(ctx, twoReadings(start)); !errors.Is(err, journal.ErrReadOnly) {
		t.Errorf("append: got %v, want ErrReadOnly", err)
	}
	if err := beside.Close(); err != nil {
		t.Error(err)
	}
	if n := ask(t, path, `SELECT count(*) FROM run WHERE NOT clean`); n != 1 {
		t.Errorf("runs under way: got %d, want the daemon's, which the reader must not end", n)
	}
}

func TestClosedJournal(t *testing.T) {
	ctx := context.Background()
	path := newPath(t)
	j := open(t, path)
	for range 2 {
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if err := j.Append(ctx, twoReadings(start)); !errors.Is(err, journal.ErrClosed) {
		t.Errorf("append: got %v, want ErrClosed", err)
	}
	if _, err := j.Standing(ctx); !errors.Is(err, journal.ErrClosed) {
		t.Errorf("read: got %v, want ErrClosed", err)
	}
	if _, err := os.Stat(path + "-wal"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the log was not brought into the file: %v", err)
	}
}

// The group may read it, others may not: it says when nobody is at home.
func TestFilesAreNotForOthers(t *testing.T) {
	path := newPath(t)
	j := open(t, path)
	appendEvents(t, j, reading("bed-t", start, 64, 18))
	if err := j.Backup(context.Background(), path+".copy"); err != nil {
		t.Fatal(err)
	}
	for _, suffix := range []string{"", "-wal", "-shm", ".lock", ".copy"} {
		info, err := os.Stat(path + suffix)
		if err != nil {
			t.Fatal(err)
		}
		if mode := info.Mode().Perm(); mode&0o007 != 0 {
			t.Errorf("journal.db%s: mode %o", suffix, mode)
		}
	}
}

// SQLite has no minus zero; the journal gives zero back at once and not only
// after a restart.
func TestMinusZeroIsZero(t *testing.T) {
	j := open(t, newPath(t))
	zero := 0.0
	appendEvents(t, j, reading("bed-t2", start, -1*zero, -1*zero))
	same(t, "reading", replay(t, j, 0)[0].Reading, farm.Reading{Probe: "bed-t2", At: start})
}

// The schema can be made from nothing, and making it again changes nothing.
func TestMigrationsAreNumberedWithoutGaps(t *testing.T) {
	names, err := filepath.Glob("migrations/*.sql")
	if err != nil || len(names) == 0 {
		t.Fatal(names, err)
	}
	for i, name := range names {
		if want := strings.Repeat("0", 3) + string(rune('1'+i)) + "_"; !strings.HasPrefix(filepath.Base(name), want) {
			t.Errorf("%s: want it to begin with %s", name, want)
		}
	}
}

// A journal of the first schema opens, and keeps all that it holds.
func TestAJournalOfTheFirstSchemaOpens(t *testing.T) {
	path := newPath(t)
	first, err := os.ReadFile("migrations/0001_begin.sql")
	if err != nil {
		t.Fatal(err)
	}
	alter(t, path, string(first)+`
		INSERT INTO session VALUES (0, 3);
		INSERT INTO series VALUES (1, 'bed-t', 'temperature', '[["bed","near"]]');
		INSERT INTO reading_0 VALUES (1, 1743465600000, 1, NULL, 18.5, NULL, 0, 7, 42);
		INSERT INTO event VALUES (2, 1743465600000, 8, NULL, NULL, '{"up":true}', NULL, NULL);
		PRAGMA application_id = 1651993198;
		PRAGMA user_version = 1`)
	j := open(t, path)
	at := time.UnixMilli(1743465600000).UTC()
	want := []farm.Event{
		{Seq: 1, Arrived: at, Kind: farm.EventReading, Reading: farm.Reading{Probe: "bed-t", At: at, Raw: 18.5, Value: 18.5}},
		{Seq: 2, Arrived: at, Kind: farm.EventTrouble},
	}
	want[1].Up = true
	same(t, "what it holds", replay(t, j, 0), want)
	more := appendEvents(t, j, reading("bed-t", at.Add(time.Minute), 64, 18))
	repeats, err := j.Repeats(context.Background(), 10)
	if err != nil {
		t.Fatal(err)
	}
	same(t, "repeats", repeats, []journal.Repeat{{Packet: 7, Hash: 42, Session: 3, Seq: 1}})
	same(t, "and what came since", replay(t, j, 2), more)
}

// modernc.org/libc has to be of the very version that modernc.org/sqlite was
// made with; with another, its 32-bit ARM build ends in SIGBUS.
func TestLibcIsTheOneSQLiteWasMadeWith(t *testing.T) {
	ours := required(t, filepath.Join("..", "..", "go.mod"), "modernc.org/libc")
	theirs := required(t, filepath.Join(moduleDir(t, "modernc.org/sqlite"), "go.mod"), "modernc.org/libc")
	if ours != theirs {
		t.Errorf("modernc.org/libc: go.mod has %s, modernc.org/sqlite needs %s", ours, theirs)
	}
}
