package journal_test

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"binwatchd/internal/efforttest"
	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// Tests that must lose a process, or have a disk of their own, run this test
// program again in one of these roles.
const roleVariable = "BINWATCHD_JOURNAL_TEST_ROLE"

var roles = map[string]func(path string) error{
	"append":    appendForEver,
	"full disk": onFullDisk,
	"file size": onLimitedFile,
	"repack":    repackUntilKilled,
}

func TestMain(m *testing.M) {
	role, ok := roles[os.Getenv(roleVariable)]
	if !ok {
		efforttest.Laws(m)
		return
	}
	if err := role(os.Args[len(os.Args)-1]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// inRole makes the command that plays a role on a path.
func inRole(role, path string) *exec.Cmd {
	cmd := exec.Command(os.Args[0], path)
	cmd.Env = append(os.Environ(), roleVariable+"="+role)
	cmd.Stderr = os.Stderr
	return cmd
}

// appendForEver journals readings that are numbered, with a change and a notice
// for each batch, compacts now and then, and says after each commit how far it got.
func appendForEver(path string) error {
	ctx := context.Background()
	j, err := journal.Open(ctx, config(path))
	if err != nil {
		return err
	}
	if err := j.SetFarm(ctx, nursery()); err != nil {
		return err
	}
	n := 0
	if err := j.Replay(ctx, 0, func(farm.Event) error { n++; return nil }); err != nil {
		return err
	}
	for i := 1; ; i++ {
		b := numberedBatch(n, 1+rand.IntN(16))
		if err := j.Append(ctx, b); err != nil {
			return err
		}
		n += len(b.Entries)
		fmt.Println(n)
		if i%8 == 0 {
			if _, err := j.Compact(ctx, timeOf(n), true); err != nil {
				return err
			}
		}
	}
}

// timeOf is the time of the numbered reading: they come so seldom that compactions
// have something to do.
func timeOf(n int) time.Time { return start.Add(time.Duration(n) * 3 * time.Hour) }

func numberedBatch(n, size int) *journal.Batch {
	b := &journal.Batch{Session: 1}
	for i := n + 1; i <= n+size; i++ {
		b.Entries = append(b.Entries, journal.Entry{Event: reading("bed-t2", timeOf(i), float64(i), float64(i)), Packet: uint16(i), Hash: uint32(i)})
	}
	c := change(fmt.Sprint("after ", n+size), farm.Raised, timeOf(n+size))
	b.Changes = []journal.Change{{Entry: size - 1, Change: c}}
	b.Owed = []journal.Owe{{Teller: keeper}}
	return b
}

// Killed at any moment, the journal has everything that was said to be written,
// once, and what belongs together stays together.
func TestKilledWhileAppending(t *testing.T) {
	path := newPath(t)
	rng, rounds := rand.New(rand.NewPCG(1, 2)), efforttest.Cases(5, 100)
	for round := range rounds {
		said := killAfter(t, path, 1+rng.IntN(40))
		j := open(t, path)
		checkNumbered(t, j, said)
		if !j.Health().Unclean {
			t.Errorf("round %d: the killed run passes for one that was closed", round)
		}
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// killAfter starts the child, kills it at some moment after so many commits, and
// gives the number that it said last.
func killAfter(t *testing.T, path string, commits int) (said int) {
	t.Helper()
	cmd := inRole("append", path)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	for i := 0; lines.Scan(); i++ {
		if said, err = strconv.Atoi(lines.Text()); err != nil {
			t.Fatal(err)
		}
		if i == commits {
			if err := cmd.Process.Kill(); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := cmd.Wait(); err == nil || !strings.Contains(err.Error(), "killed") {
		t.Fatalf("the child was to be killed: %v", err)
	}
	return said
}

// checkNumbered checks that readings 1 to some number are there, in order, and
// no fewer than were said; at most the batch under way may be there too.
func checkNumbered(t *testing.T, j *journal.Journal, said int) {
	t.Helper()
	n := 0
	for _, e := range replay(t, j, 0) {
		n++
		if e.Seq != int64(n) || e.Reading.Raw != float64(n) || !e.Arrived.Equal(timeOf(n)) {
			t.Fatalf("event %d: got %+v", n, e)
		}
	}
	if n < said || n > said+16 {
		t.Fatalf("got %d readings, %d were said to be written", n, said)
	}
	standing, err := j.Standing(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	waiting, err := j.Waiting(context.Background())
	if err != nil || len(waiting) != 1 {
		t.Fatal(waiting, err)
	}
	if got, want := standing[len(standing)-1].Episode, fmt.Sprint("after ", n); got != want || waiting[0].N != int64(len(standing)) {
		t.Fatalf("last change: got %q, want %q; %d notices for %d changes", got, want, waiting[0].N, len(standing))
	}
}

// The power goes: whatever of the log was not synced is cut off or is rubbish.
// Exactly the batches up to there are in the journal.
func TestPowerLossLeavesWholeBatches(t *testing.T) {
	path := newPath(t)
	j := open(t, path)
	type commit struct {
		log int64 // length of the log after it
		n   int   // readings up to it
	}
	commits := []commit{{fileLength(t, path+"-wal"), 0}}
	rng := rand.New(rand.NewPCG(3, 4))
	for n := 0; n < 200; {
		b := numberedBatch(n, 1+rng.IntN(16))
		if err := j.Append(context.Background(), b); err != nil {
			t.Fatal(err)
		}
		n += len(b.Entries)
		commits = append(commits, commit{fileLength(t, path+"-wal"), n})
	}
	file, log := contents(t, path), contents(t, path+"-wal")
	for range 40 {
		k := rng.IntN(len(commits) - 1)
		cut := commits[k].log + rng.Int64N(commits[k+1].log-commits[k].log)
		tail := make([]byte, rng.IntN(3)*5000)
		for i := range tail {
			tail[i] = byte(rng.Uint32())
		}
		lost := filepath.Join(t.TempDir(), "journal.db")
		write(t, lost, file)
		write(t, lost+"-wal", append(append([]byte(nil), log[:cut]...), tail...))
		after := open(t, lost)
		if got := len(replay(t, after, 0)); got != commits[k].n {
			t.Fatalf("log cut at %d: got %d readings, want %d", cut, got, commits[k].n)
		}
		if err := after.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

func fileLength(t *testing.T, path string) int64 {
	t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	return info.Size()
}

func contents(t *testing.T, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func write(t *testing.T, path string, b []byte) {
	t.Helper()
	if err := os.WriteFile(path, b, 0o640); err != nil {
		t.Fatal(err)
	}
}

// runRole plays a role to its end, in a mount namespace of its own if asked.
func runRole(t *testing.T, role, path string, ownMounts bool) {
	t.Helper()
	cmd := inRole(role, path)
	if ownMounts {
		cmd.SysProcAttr = &syscall.SysProcAttr{Cloneflags: syscall.CLONE_NEWNS}
		if os.Getuid() != 0 {
			cmd.SysProcAttr.Cloneflags |= syscall.CLONE_NEWUSER
			cmd.SysProcAttr.UidMappings = []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}}
		}
	}
	var said strings.Builder
	cmd.Stdout, cmd.Stderr = io.Discard, &said
	if err := cmd.Run(); err != nil {
		t.Errorf("%s: %v\n%s", role, err, said.String())
	}
}
