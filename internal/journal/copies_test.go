package journal_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// told collects what a keeper is told of the copying.
type told []string

func (k *told) tell(t farm.Trouble) error {
	over := ""
	if t.Over {
		over = "over: "
	}
	*k = append(*k, over+t.Text)
	return nil
}

func daily(to string, keep int) journal.BackupSettings {
	return journal.BackupSettings{To: to, Every: 24 * time.Hour, Keep: keep, Disk: journal.SameDisk}
}

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }

func names(t *testing.T, dir string) (names []string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

// turnDaily takes a turn each minute for some days, with a reading an hour.
func turnDaily(t *testing.T, c *journal.Copies, j *journal.Journal, from time.Time, days int) {
	t.Helper()
	for m := range days * 24 * 60 {
		at := from.Add(time.Duration(m) * time.Minute)
		if m%60 == 0 {
			appendEvents(t, j, reading("bed-t", at, 61, 61))
		}
		if _, err := c.Turn(t.Context(), j, at); err != nil {
			t.Fatal(err)
		}
	}
}

// A copy a day is made, the newest are kept, and each opens and holds what was
// there by then.
func TestCopiesAreMadeAndTheOldestGo(t *testing.T) {
	j, to := open(t, newPath(t)), t.TempDir()
	write(t, filepath.Join(to, "letters.txt"), []byte("mine"))
	write(t, filepath.Join(to, "binwatchd-zzzzzz-20240101T000000Z.db"), []byte("another farm's"))
	var keeper told
	c := journal.NewCopies(daily(to, 3), filepath.Join(t.TempDir(), "x"), quiet(), keeper.tell)
	turnDaily(t, c, j, start, 6)

	got := names(t, to)
	if len(got) != 5 || !slices.Contains(got, "letters.txt") || !slices.Contains(got, "binwatchd-zzzzzz-20240101T000000Z.db") {
		t.Fatalf("there are %q, want three copies and what was there", got)
	}
	for i, day := range []int{3, 4, 5} {
		name := slices.DeleteFunc(slices.Clone(got), func(n string) bool {
			return strings.Contains(n, "zzzzzz") || !strings.HasSuffix(n, ".db")
		})[i]
		if want := start.AddDate(0, 0, day).Format("20060102T150405Z") + ".db"; !strings.HasSuffix(name, want) {
			t.Errorf("a copy is called %s, want one of %s", name, want)
		}
		holds, err := journal.Verify(t.Context(), filepath.Join(to, name))
		if err != nil || holds.Readings != int64(24*day+1) {
			t.Errorf("%s holds %d readings, want %d: %v", name, holds.Readings, 24*day+1, err)
		}
	}
	if s := c.State(); s.Kept != 3 || !s.Last.Equal(start.AddDate(0, 0, 5)) || s.Trouble != "" {
		t.Errorf("it stands as %+v", s)
	}
	if len(keeper) != 1 || !strings.HasPrefix(keeper[0], "over: ") {
		t.Errorf("the keeper was told %q, want once that it works", keeper)
	}

	// A daemon that starts anew goes on where the one before was.
	again := journal.NewCopies(daily(to, 3), "x", quiet(), nil)
	if made, err := again.Turn(t.Context(), j, start.AddDate(0, 0, 5).Add(23*time.Hour)); made != "" || err != nil {
		t.Errorf("after a restart: a copy %q too early, %v", made, err)
	}
	if made, err := again.Turn(t.Context(), j, start.AddDate(0, 0, 6)); made == "" || err != nil {
		t.Errorf("after a restart: no copy when it is due: %v", err)
	}
}

// A stick that is away is told of once, fills no other disk, and gets its copy when
// it is back.
func TestAStickThatIsAway(t *testing.T) {
	dir := t.TempDir()
	j, to := open(t, newPath(t)), filepath.Join(dir, "stick")
	appendEvents(t, j, reading("bed-t", start, 61, 61))
	var keeper told
	c := journal.NewCopies(daily(to, 3), filepath.Join(dir, "journal.db"), quiet(), keeper.tell)
	for m := range 3 * 24 * 60 {
		made, err := c.Turn(t.Context(), j, start.Add(time.Duration(m)*time.Minute))
		if made != "" || err == nil {
			t.Fatalf("a copy without a stick: %q, %v", made, err)
		}
	}
	if len(keeper) != 1 || !strings.Contains(keeper[0], "There is no copy of the journal (there is no folder "+to) {
		t.Errorf("the keeper was told %q, want once that there is none", keeper)
	}
	if s := c.State(); !strings.Contains(s.Trouble, "no folder") || len(names(t, dir)) != 0 {
		t.Errorf("it stands as %+v, with %q", s, names(t, dir))
	}
	if err := os.Mkdir(to, 0o750); err != nil {
		t.Fatal(err)
	}
	back := start.AddDate(0, 0, 3)
	if made, err := c.Turn(t.Context(), j, back); made == "" || err != nil {
		t.Fatalf("no copy when it is back: %v", err)
	}
	if err := os.RemoveAll(to); err != nil {
		t.Fatal(err)
	}
	for m := range 3 * 24 * 60 { // taken home between two copies, and for longer
		_, err := c.Turn(t.Context(), j, back.Add(time.Duration(m)*time.Minute))
		if away := m >= 24*60; away != (err != nil) {
			t.Fatalf("%d minutes after a copy: %v", m, err)
		}
	}
	if len(keeper) != 3 || keeper[1] != "over: The journal is copied." || !strings.HasPrefix(keeper[2], "The last copy of the journal is 2 days old (there is no folder ") {
		t.Errorf("the keeper was told %q, want that it is over and that it is not", keeper)
	}
}

// The folder of a stick that is not mounted lies on the machine's own disk.
func TestCopiesGoToAnotherDisk(t *testing.T) {
	path, to := newPath(t), t.TempDir()
	j := open(t, path)
	cfg := daily(to, 3)
	cfg.Disk = journal.OtherDisk
	if _, err := journal.NewCopies(cfg, path, quiet(), nil).Turn(t.Context(), j, start); err == nil || !strings.Contains(err.Error(), "no stick is mounted there") {
		t.Errorf("beside the journal: got %v", err)
	}
	if len(names(t, to)) != 0 {
		t.Errorf("there is %q", names(t, to))
	}
	other, err := os.MkdirTemp("/dev/shm", "copies")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(other)
	cfg.To = other
	if made, err := journal.NewCopies(cfg, path, quiet(), nil).Turn(t.Context(), j, start); err != nil || made == "" {
		t.Errorf("on another: %v", err)
	}
}

// What a power cut leaves of a copy goes with the next one; a copy that is not good
// drives no good one out; one of a time to come is no newest.
func TestCopiesAreGoodOrNotThere(t *testing.T) {
	path, to := newPath(t), t.TempDir()
	j := open(t, path)
	for n := 0; n < 320; n += 16 {
		if err := j.Append(t.Context(), numberedBatch(n, 16)); err != nil {
			t.Fatal(err)
		}
	}
	compactAll(t, j, timeOf(320).Add(30*24*time.Hour))
	c := journal.NewCopies(daily(to, 1), path, quiet(), nil)
	good, err := c.Turn(t.Context(), j, start)
	if err != nil {
		t.Fatal(err)
	}
	write(t, strings.Replace(good, start.Format("20060102"), "20200101", 1)+".part", []byte("half"))
	ahead := strings.Replace(good, start.Format("20060102"), "20990101", 1)
	write(t, ahead, contents(t, good))
	alter(t, path, `UPDATE chunk_body SET body = substr(body, 1, length(body) / 2)`)
	if made, err := c.Turn(t.Context(), j, start.AddDate(0, 0, 1)); !errors.Is(err, journal.ErrDamaged) || made != "" {
		t.Fatalf("of a damaged journal: got %q, %v, want ErrDamaged", made, err)
	}
	if got := names(t, to); len(got) != 1 || filepath.Join(to, got[0]) != good {
		t.Errorf("there are %q, want %s alone", got, good)
	}
	if s := c.State(); s.Trouble == "" || !s.Last.Equal(start) {
		t.Errorf("it stands as %+v", s)
	}
	if _, err := c.Turn(t.Context(), j, start.AddDate(0, 0, 1).Add(time.Minute)); err != nil {
		t.Errorf("it tries each minute: %v", err)
	}
}

// A copy that holds less than the journal counts is not good.
func TestACopyIsCountedAgainstTheJournal(t *testing.T) {
	path, file := newPath(t), filepath.Join(t.TempDir(), "copy.db")
	j := open(t, path)
	for n := 0; n < 320; n += 16 {
		if err := j.Append(t.Context(), numberedBatch(n, 16)); err != nil {
			t.Fatal(err)
		}
	}
	compactAll(t, j, timeOf(320).Add(30*24*time.Hour))
	alter(t, path, `UPDATE chunk SET readings = readings + 1 WHERE first = 1`)
	if err := j.Backup(t.Context(), file); !errors.Is(err, journal.ErrDamaged) || !strings.Contains(err.Error(), "321 to 321, and 320 in the copy") {
		t.Errorf("got %v, want ErrDamaged and the counts", err)
	}
	if len(names(t, filepath.Dir(file))) != 0 {
		t.Error("the copy is there")
	}
}

// Intake does not wait for a copy: what is appended while one is made is on disk
// before that is done.
func TestACopyHoldsNobodyUp(t *testing.T) {
	path, to := newPath(t), t.TempDir()
	j := open(t, path)
	fill(t, j, days(1, start, 14*24*time.Hour, 10*time.Minute))
	ctx, stop := context.WithCancel(t.Context())
	var copying atomic.Int64 // odd while one is made
	done := make(chan struct{})
	go func() {
		defer close(done)
		for ctx.Err() == nil {
			n := copying.Add(1)
			if err := j.Backup(ctx, filepath.Join(to, fmt.Sprint(n))); err != nil && ctx.Err() == nil {
				t.Error(err)
				return
			}
			copying.Add(1)
		}
	}()
	for n, seen := 0, false; !seen && !t.Failed(); n++ {
		before := copying.Load()
		appendEvents(t, j, reading("bed-t", timeOf(n), 61, 61))
		seen = before%2 == 1 && copying.Load() == before
	}
	stop()
	<-done
}
