package journal_test

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
	"binwatchd/internal/proctest"
)

func moduleDir(t *testing.T, module string) string {
	t.Helper()
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", module).Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(out))
}

// required reads the version a go.mod requires of a module.
func required(t *testing.T, file, module string) string {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		fields := strings.Fields(strings.TrimPrefix(strings.TrimSpace(line), "require "))
		if len(fields) >= 2 && fields[0] == module {
			return fields[1]
		}
	}
	t.Fatalf("%s does not require %s", file, module)
	return ""
}

// scribble overwrites a part of a file.
func scribble(t *testing.T, path string, at, n int64) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.WriteAt([]byte(strings.Repeat("compost", int(n)/7+1))[:n], at); err != nil {
		t.Fatal(err)
	}
}

// aside gives the contents of the file that was set aside; there must be one.
func aside(t *testing.T, j *journal.Journal, path string) string {
	t.Helper()
	name := j.Health().SetAside
	if !strings.HasPrefix(name, "journal.db.damaged-") {
		t.Fatalf("set aside: got %q", name)
	}
	text, err := os.ReadFile(filepath.Join(filepath.Dir(path), name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// A file that never was a journal is left as it is, also the second time, and by
// commands that only read.
func TestAnotherKindOfFileIsLeftAlone(t *testing.T) {
	path := newPath(t)
	text := []byte(strings.Repeat("this is no database\n", 500))
	write(t, path, text)
	for _, open := range []func(context.Context, journal.Config) (*journal.Journal, error){journal.Open, journal.Open, journal.OpenReadOnly} {
		if _, err := open(context.Background(), config(path)); err == nil || !strings.Contains(err.Error(), path+" is no journal") {
			t.Errorf("got %v, want it refused", err)
		}
	}
	if got := listing(t, filepath.Dir(path)); len(got) != 2 || string(contents(t, path)) != string(text) {
		t.Errorf("beside it: got %v, want the file alone, as it was", got)
	}
}

// What had been a journal, and begins with something else now.
func TestWhatIsNoDatabaseIsSetAside(t *testing.T) {
	for name, text := range map[string]string{
		"text":            strings.Repeat("this is no database\n", 500),
		"a cut-off start": "SQLite format 3\x00",
	} {
		t.Run(name, func(t *testing.T) {
			path := newPath(t)
			for range 2 { // twice in one second: two files are kept
				if err := os.WriteFile(path, []byte(text), 0o640); err != nil {
					t.Fatal(err)
				}
				write(t, path+".lock", nil) // there was a daemon before
				j := open(t, path)
				if got := aside(t, j, path); got != text {
					t.Errorf("set aside: got %d bytes, want the %d that were there", len(got), len(text))
				}
				appendEvents(t, j, reading("bed-t", start, 64, 18))
				if err := j.Close(); err != nil {
					t.Fatal(err)
				}
			}
			if kept, err := filepath.Glob(path + ".damaged-*"); err != nil || len(kept) != 2 {
				t.Errorf("kept: got %v, %v; want two", kept, err)
			}
		})
	}
}

// A page that the card has scribbled over is found by the check that follows an
// unclean end; from then on nothing is written, until a new file is begun.
func TestDamageFoundByTheCheck(t *testing.T) {
	ctx := context.Background()
	path := newPath(t)
	j := open(t, path)
	fill(t, j, days(26, start, 8*24*time.Hour, time.Hour))
	for range 200 {
		appendChange(t, j, change("e1", farm.Worsened, start), keeper)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	alter(t, path, `UPDATE run SET clean = 0`)
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	scribble(t, path, info.Size()/2048*2048-9*2048, 2048)

	j, err = journal.Open(ctx, config(path))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	early := j.SetFarm(ctx, nursery()) // the check runs beside it, and may be done first
	if early != nil && !errors.Is(early, journal.ErrDamaged) {
		t.Fatal(early)
	}
	proctest.Eventually(t, "the check", func() bool { return !j.Health().Checking })
	h := j.Health()
	if h.Damage == "" || h.Checked || !h.Unclean {
		t.Fatalf("health: got %+v, want damage", h)
	}
	if err := j.Append(ctx, twoReadings(start)); !errors.Is(err, journal.ErrDamaged) {
		t.Errorf("append: got %v, want ErrDamaged", err)
	}

	if err := j.Renew(ctx); err != nil {
		t.Fatal(err)
	}
	if got := aside(t, j, path); !strings.Contains(got, "compostcompost") {
		t.Error("what was set aside is not the damaged file")
	}
	if early != nil {
		if err := j.SetFarm(ctx, nursery()); err != nil {
			t.Fatal(err)
		}
	}
	renewed := appendEvents(t, j, reading("bed-t2", start, 18, 18))
	if renewed[0].Seq != 1 {
		t.Errorf("sequence of the new file: got %d, want 1", renewed[0].Seq)
	}
	if got := samples(t, j, "bed", "near", farm.Temperature, start.Truncate(time.Hour), start.Add(time.Hour), time.Hour); len(got) != 1 || got[0].N != 1 {
		t.Errorf("the new file's history: got %v, want the one reading at its zone", got)
	}
	j = reopen(t, j, path)
	same(t, "after reopening", replay(t, j, 0), renewed)
	if h := j.Health(); h.SetAside != "" || h.Damage != "" || h.Unclean {
		t.Errorf("health of the new file: got %+v", h)
	}
}

// Damage that was found and not dealt with before the power went is dealt with
// at the next start.
func TestDamageMarkedIsSetAsideAtTheNextStart(t *testing.T) {
	path := newPath(t)
	j := open(t, path)
	appendEvents(t, j, reading("bed-t", start, 64, 18))
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path+".damage", []byte("a page is torn\n"), 0o640); err != nil {
		t.Fatal(err)
	}
	j = open(t, path)
	aside(t, j, path)
	if got := replay(t, j, 0); len(got) != 0 {
		t.Errorf("in the new file: got %d events", len(got))
	}
	if _, err := os.Stat(path + ".damage"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the mark is still there: %v", err)
	}
}

func TestRenewLeavesASoundFileAlone(t *testing.T) {
	path := newPath(t)
	j := open(t, path)
	want := appendEvents(t, j, reading("bed-t", start, 64, 18))
	if err := j.Renew(context.Background()); err != nil {
		t.Fatal(err)
	}
	same(t, "events", replay(t, j, 0), want)
}

func TestSoundFileAfterAnUncleanEnd(t *testing.T) {
	path := newPath(t)
	j := open(t, path)
	want := fill(t, j, days(27, start, time.Hour, time.Minute))
	copied := filepath.Join(t.TempDir(), "journal.db") // as the disk is when the power goes
	for _, suffix := range []string{"", "-wal"} {
		text, err := os.ReadFile(path + suffix)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(copied+suffix, text, 0o640); err != nil {
			t.Fatal(err)
		}
	}
	after := open(t, copied)
	same(t, "events", replay(t, after, 0), want)
	proctest.Eventually(t, "the check", func() bool { return !after.Health().Checking })
	if h := after.Health(); !h.Checked || !h.Unclean || h.Damage != "" {
		t.Errorf("health: got %+v, want it checked and sound", h)
	}
}
