package journal_test

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

// testdata/schema-2.db is a journal of the program that had schema 2, filled by
// fillOlder, and testdata/schema-2.txt is what that program read from it, by
// describe. They can't be made again: whoever changes fillOlder makes a fixture of
// another version.
const (
	olderJournal = "testdata/schema-2.db"
	olderContent = "testdata/schema-2.txt"
)

// olderCopy copies the fixture to where it may be changed.
func olderCopy(t testing.TB) string {
	t.Helper()
	path := newPath(t)
	b, err := os.ReadFile(olderJournal)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b, 0o640); err != nil {
		t.Fatal(err)
	}
	return path
}

func olderDescription(t testing.TB) string {
	t.Helper()
	b, err := os.ReadFile(olderContent)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// olderEnd is after everything in the fixture.
var olderEnd = start.AddDate(0, 0, 60)

// fillOlder fills a journal with something of everything: four stretches that are
// packed, each with a table of its own, and one that is not; readings with decimals,
// in coarse steps, calibrated and not, stamped and late, doubted, not a number, and
// of a probe that the farm does not know; ticks, jots and the other events; episodes,
// notices that are owed, told and postponed; a stretch that was moved in time.
func fillOlder(t testing.TB, j *journal.Journal) {
	t.Helper()
	ctx := context.Background()
	check := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	for n := range 5 {
		from := start.AddDate(0, 0, 9*n)
		appendEvents(t, j, farm.Event{Kind: farm.EventStart, Arrived: from},
			farm.Event{Kind: farm.EventLink, Arrived: from, Up: true, Backlog: farm.Marked},
			farm.Event{Kind: farm.EventCaught, Arrived: from})
		events := days(uint64(40+n), from, 8*24*time.Hour, 4*time.Hour)
		for i := range 12 {
			events = append(events, oddly(i, from.Add(8*24*time.Hour+time.Duration(i)*time.Second)))
		}
		fill(t, j, events)
		at := from.Add(8*24*time.Hour + time.Hour)
		check(j.Append(ctx, olderBatch(n, at)))
		if n == 2 {
			shift := 17*time.Minute + 1234*time.Millisecond
			last, err := j.Last(ctx)
			check(err)
			check(j.Restamp(ctx, last-20, last, shift))
		}
		if n < 4 {
			compactAll(t, j, at.AddDate(0, 0, 20))
		}
	}
	check(j.Settle(ctx, start.AddDate(0, 0, 9), farm.Fated{Fate: farm.Told, IDs: []int64{1}}))
	check(j.Postpone(ctx, []int64{2, 3}, start.AddDate(0, 0, 50), "the mail server is away"))
	check(j.SetCursor(ctx, "influx", 700))
	check(j.Park(ctx, []farm.Parked{{At: start, Line: "bin_climate raw=1 1", Reason: "partial write"}}))
}

// oddly makes what is hard to pack.
func oddly(i int, at time.Time) farm.Event {
	e := reading("coarse", at, float64(i/4)/2, float64(i/4)/2)
	r := &e.Reading
	switch i {
	case 1:
		r.Probe, r.Raw, r.Value, r.Doubt = "bed-t2", math.NaN(), math.NaN(), farm.NotANumber
	case 2:
		r.Probe, r.Raw, r.Value, r.Doubt = "bed-m", math.Inf(1), math.NaN(), farm.NotANumber
	case 3:
		r.At, r.Stamped = at.Add(-30*time.Hour-123*time.Millisecond), true
	case 5:
		r.Raw, r.Value = 0.1+0.2, math.Pi
	case 6:
		r.Uncertain = true
	case 7:
		r.Retained, r.Uncertain = true, true
	case 9:
		r.Raw, r.Value = 1e300, -1e-300
	case 10:
		r.Probe, r.Misdated, r.Doubt = "bed-t", true, farm.Spike
	case 11:
		e = farm.Event{Kind: farm.EventTick, Arrived: at}
	}
	return e
}

// olderBatch is what follows a stretch: a jot and an episode that stands, but for
// the first, which is eased.
func olderBatch(n int, at time.Time) *journal.Batch {
	episode := fmt.Sprint("bed-near-too-hot-", n)
	peak := 31.5
	raised := change(episode, farm.Raised, at)
	raised.Forecast = &farm.Forecast{Crosses: at.Add(time.Hour), Earliest: at, Latest: at.Add(2 * time.Hour)}
	b := &journal.Batch{
		Session: int64(1 + n),
		Entries: []journal.Entry{
			{Event: reading("bed-t", at, 95, 35), Packet: uint16(7 + n), Hash: 0xfffffff0 + uint32(n), Sender: 0xfedcba98},
			{Event: farm.Event{Kind: farm.EventJot, Arrived: at, Jot: farm.Jot{At: at, Bin: "bed", Zone: "near", What: farm.Fed, Kg: 2, Of: "grain", By: "mqtt"}}, Packet: 99, Hash: 5},
			{Event: farm.Event{Kind: farm.EventHush, Arrived: at, Hush: farm.Hush{Bin: "bed", Condition: farm.TooHot, Until: at.Add(time.Hour)}}},
			{Event: farm.Event{Kind: farm.EventSeen, Arrived: at, Seen: farm.Seen{Episode: episode}}},
			{Event: farm.Event{Kind: farm.EventTrouble, Arrived: at, Trouble: farm.Trouble{Condition: farm.Unforwarded, Text: "the database refuses"}}},
			{Event: farm.Event{Kind: farm.EventClock, Arrived: at, Shift: 90 * time.Second, From: at.Add(-time.Hour)}},
		},
		Changes:  []journal.Change{{Change: raised}},
		Owed:     []journal.Owe{{Teller: keeper, Notice: fmt.Sprint("n", n)}},
		Snapshot: &journal.Snapshot{Version: 3, Digest: fmt.Sprint("d", n), Taken: at, Rules: []byte(strings.Repeat("rules ", 50+n)), Doubts: []byte("doubts"), Arrivals: []byte("arrivals")},
	}
	if n == 0 {
		eased := change(episode, farm.Eased, at.Add(time.Second))
		eased.Peak = &peak
		b.Changes = append(b.Changes, journal.Change{Entry: 1, Change: eased})
		b.Owed = append(b.Owed, journal.Owe{Change: 1, Teller: keeper, Notice: "n0-eased"})
	}
	return b
}

// describe writes down everything that can be read from a journal, numbers to
// their last bit.
func describe(t testing.TB, j *journal.Journal) string {
	t.Helper()
	ctx := context.Background()
	var b strings.Builder
	check := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	say := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	for _, e := range replay(t, j, 0) {
		say("%s", describeEvent(e))
	}
	check(j.Readings(ctx, start.AddDate(0, 0, 5), start.AddDate(0, 0, 30), func(e farm.Event) error {
		say("measured within %d", e.Seq)
		return nil
	}))
	standing, err := j.Standing(ctx)
	check(err)
	changes, err := j.Changes(ctx, "bed", start, olderEnd)
	check(err)
	for _, c := range slices.Concat(standing, changes) {
		say("change %s %s %s %s %s %v %v", c.Episode, c.Condition, c.Change, c.Urgency, stamp(c.At), c.Peak != nil && *c.Peak == 31.5, c.Forecast)
	}
	jots, err := j.Jots(ctx, "bed", start, olderEnd)
	check(err)
	for _, jot := range jots {
		say("jot %s %s %s %g %s", stamp(jot.At), jot.Zone, jot.What, jot.Kg, jot.Of)
	}
	owed, err := j.Owed(ctx, keeper, olderEnd, 100)
	check(err)
	told, err := j.ToldOf(ctx, keeper, "bed-near-too-hot-0")
	check(err)
	for _, o := range slices.Concat(owed, told) {
		say("owed %d %s %s change %d %s, %d tries, %s %s %q", o.ID, o.Notice, o.Teller, o.ChangeID, o.Change.Episode, o.Tries, stamp(o.Created), stamp(o.Next), o.Trouble)
	}
	waiting, err := j.Waiting(ctx)
	check(err)
	say("waiting %+v", waiting)
	repeats, err := j.Repeats(ctx, 12)
	check(err)
	say("repeats %v", repeats)
	s, ok, err := j.Snapshot(ctx)
	check(err)
	say("snapshot %v %d %d %s %s %q %q %q", ok, s.Seq, s.Version, s.Digest, stamp(s.Taken), s.Rules, s.Doubts, s.Arrivals)
	cursor, err := j.Cursor(ctx, "influx")
	check(err)
	parked, total, err := j.Parked(ctx, 10)
	check(err)
	say("cursor %d, parked %d %v", cursor, total, parked)
	for _, zone := range []string{"near", ""} {
		for _, q := range []farm.Quantity{farm.Temperature, farm.Moisture} {
			for _, step := range []time.Duration{30 * time.Minute, 6 * time.Hour, 48 * time.Hour} {
				got, err := j.Samples(ctx, "bed", zone, q, start.AddDate(0, 0, 7), start.AddDate(0, 0, 12), step)
				check(err)
				for _, s := range got {
					say("sample %q %s %s %s n %d, %x to %x, mean %x", zone, q, step, stamp(s.At), s.N, s.Min, s.Max, s.Mean)
				}
			}
		}
	}
	for after := int64(0); ; {
		st, err := j.Forward(ctx, after, 300)
		check(err)
		say("forward after %d: %d events, %d changes, to %d", after, len(st.Events), len(st.Changes), st.Last)
		if st.Last == after {
			break
		}
		after = st.Last
	}
	sizes, err := j.Sizes(ctx)
	check(err)
	say("packed %d, unpacked %d, events %d, oldest %s", sizes.Packed, sizes.Unpacked, sizes.Events, stamp(sizes.Oldest))
	return b.String()
}

func describeEvent(e farm.Event) string {
	s := fmt.Sprintf("%d %s ", e.Seq, stamp(e.Arrived))
	switch e.Kind {
	case farm.EventReading:
		r := e.Reading
		s += fmt.Sprintf("%s %s %x", r.Probe, stamp(r.At), math.Float64bits(r.Raw))
		if !math.IsNaN(r.Value) || !math.IsNaN(r.Raw) {
			s += fmt.Sprintf(" %x", math.Float64bits(r.Value))
		}
		if r.Doubt != 0 {
			s += " " + r.Doubt.String()
		}
		for _, f := range []struct {
			set  bool
			word string
		}{{r.Stamped, "stamped"}, {r.Misdated, "misdated"}, {r.Uncertain, "uncertain"}, {r.Retained, "retained"}} {
			if f.set {
				s += " " + f.word
			}
		}
	case farm.EventTick:
		s += "tick"
	default:
		s += fmt.Sprintf("kind %d: %s %s %s, %s %s, %s, %q, %v %d, %s %s", e.Kind, e.Jot.Bin, e.Jot.What, e.Jot.Of, e.Hush.Bin, stamp(e.Hush.Until),
			e.Seen.Episode, e.Trouble.Text, e.Up, e.Backlog, e.Shift, stamp(e.From))
	}
	return s
}

func stamp(at time.Time) string {
	if at.IsZero() {
		return "-"
	}
	return at.UTC().Format("01-02T15:04:05.000")
}

// What the version before has written is read value for value, by a command that
// changes nothing and by the daemon.
func TestOlderJournalIsReadAsItWas(t *testing.T) {
	want := olderDescription(t)
	path := olderCopy(t)
	before := contents(t, path)
	j, err := journal.OpenReadOnly(context.Background(), config(path))
	if err != nil {
		t.Fatal(err)
	}
	same(t, "read only", describe(t, j), want)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	same(t, "the file, read only", contents(t, path), before)
	same(t, "opened", describe(t, open(t, path)), want)
}

// The fixture's content, written today, reads as it did.
func TestTodayWritesWhatTheOlderWrote(t *testing.T) {
	j := open(t, newPath(t))
	fillOlder(t, j)
	same(t, "written today", describe(t, j), olderDescription(t))
}

// An older journal's copy, too, and what is restored from it.
func TestBackupOfAnOlderJournal(t *testing.T) {
	ctx := context.Background()
	want := olderDescription(t)
	path := olderCopy(t)
	if _, err := journal.Verify(ctx, path); err != nil {
		t.Fatalf("verify: %v", err)
	}
	j, err := journal.OpenReadOnly(ctx, config(path))
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	copied := filepath.Join(t.TempDir(), "copy.db")
	if err := j.Backup(ctx, copied); err != nil {
		t.Fatal(err)
	}
	same(t, "restored from the copy", describe(t, open(t, copied)), want)
}

// repackAll compacts until no older chunk is left, at a time at which there is nothing
// else to do.
func repackAll(t testing.TB, j *journal.Journal) (renewed int) {
	t.Helper()
	for {
		f, err := j.Compact(context.Background(), start, true)
		if err != nil {
			t.Fatal(err)
		}
		if f.Repacked == 0 {
			return renewed
		}
		renewed += f.Repacked
	}
}

// ask gives the first number that a query on a journal's file answers.
func ask(t testing.TB, path, query string) (n int64) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.QueryRow(query).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// frames counts the packed bodies that begin like a frame of Zstandard (RFC 8878,
// section 3.1.1).
const frames = `SELECT count(*) FROM chunk_body WHERE hex(substr(body, 1, 4)) = '28B52FFD'`

func TestOlderChunksArePackedAnew(t *testing.T) {
	want := olderDescription(t)
	path := olderCopy(t)
	j := reopen(t, open(t, path), path) // so that the tables that are new since are in the file
	before, err := j.Sizes(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	if got := ask(t, path, `SELECT user_version FROM pragma_user_version`); got != 7 {
		t.Errorf("schema: got %d, want 7, which an older version refuses", got)
	}
	largest := ask(t, path, `SELECT max(length(body)) FROM chunk_body`)
	if got := repackAll(t, j); got != 4 {
		t.Errorf("packed anew: got %d chunks, want 4", got)
	}
	if got := ask(t, path, frames); got != 4 {
		t.Errorf("in the new form: got %d chunks, want 4", got)
	}
	same(t, "packed anew", describe(t, j), want)
	j = reopen(t, j, path)
	same(t, "packed anew and opened", describe(t, j), want)
	after, err := j.Sizes(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	if grown := after.FileBytes - before.FileBytes; grown > largest+4096 {
		t.Errorf("the file has grown by %d bytes, want room for one chunk of %d", grown, largest)
	}
}

// A write that fails at any stage leaves a chunk in the one form or the other.
func TestFailedRepackLosesNothing(t *testing.T) {
	want := olderDescription(t)
	var tr trap
	j := open(t, olderCopy(t), tr.option)
	for _, stage := range []string{"begin", "commit", "committed", "begin", "committed", "commit", "committed", "committed"} {
		tr.stage = stage
		if _, err := j.Compact(context.Background(), start, true); !errors.Is(err, errPulled) {
			t.Fatalf("fault at %s: got %v, want it told", stage, err)
		}
		same(t, "after a fault at "+stage, describe(t, j), want)
	}
	if got := repackAll(t, j); got != 0 {
		t.Errorf("left to pack: got %d, want 0, since four commits were on disk", got)
	}
}

const killVariable = "BINWATCHD_JOURNAL_TEST_KILL"

// repackUntilKilled opens a journal, packs its older chunks anew, and kills itself at
// one stage of one write.
func repackUntilKilled(path string) error {
	left, err := strconv.Atoi(os.Getenv(killVariable))
	if err != nil {
		return err
	}
	cfg := config(path)
	cfg.Fault = func(string) error {
		if left--; left == 0 {
			return syscall.Kill(os.Getpid(), syscall.SIGKILL)
		}
		return nil
	}
	j, err := journal.Open(context.Background(), cfg)
	if err != nil {
		return err
	}
	for renewed := 1; renewed > 0; {
		f, err := j.Compact(context.Background(), start, true)
		if err != nil {
			return err
		}
		renewed = f.Repacked
	}
	fmt.Println("done")
	return j.Close()
}

// Killed at each stage of each write, from the opening to the last chunk, the journal
// reads as it did, and what is left to do is done by the next run.
func TestKilledWhileRepacking(t *testing.T) {
	want := olderDescription(t)
	path := olderCopy(t)
	for kill := 1; ; kill++ {
		path := olderCopy(t)
		cmd := inRole("repack", path)
		cmd.Env = append(cmd.Env, killVariable+"="+strconv.Itoa(kill))
		out, err := cmd.Output()
		j := open(t, path)
		same(t, fmt.Sprintf("killed at stage %d", kill), describe(t, j), want)
		if repackAll(t, j); ask(t, path, frames) != 4 {
			t.Fatalf("killed at stage %d: not all is packed anew afterwards", kill)
		}
		same(t, fmt.Sprintf("killed at stage %d and packed anew", kill), describe(t, j), want)
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(out), "done") {
			break
		}
		if err == nil || !strings.Contains(err.Error(), "killed") {
			t.Fatalf("the child was to be killed at stage %d: %v", kill, err)
		}
	}
	// Killed again and again, it still gets to the end.
	for kills := 0; ; kills++ {
		cmd := inRole("repack", path)
		cmd.Env = append(cmd.Env, killVariable+"=8")
		if out, _ := cmd.Output(); strings.Contains(string(out), "done") {
			break
		}
		if kills > 20 {
			t.Fatal("does not get on when it is killed time and again")
		}
	}
	j := open(t, path)
	same(t, "after many kills", describe(t, j), want)
}

// Times that move while older chunks are left are the same as if none were.
func TestRestampOfAnOlderChunk(t *testing.T) {
	told := map[bool]string{}
	for _, repacked := range []bool{false, true} {
		j := open(t, olderCopy(t))
		if repacked {
			repackAll(t, j)
		}
		if err := j.Restamp(context.Background(), 100, 600, 3*time.Hour); err != nil {
			t.Fatal(err)
		}
		repackAll(t, j)
		told[repacked] = describe(t, j)
	}
	same(t, "moved before it was packed anew", told[false], told[true])
}

// What is no longer kept need not be packed anew, and what can't be read stays.
func TestRepackOfWhatIsGone(t *testing.T) {
	t.Run("dropped", func(t *testing.T) {
		path := olderCopy(t)
		j := open(t, path, keep(24*time.Hour))
		f, err := j.Compact(context.Background(), olderEnd, true)
		if err != nil || f.Dropped == 0 {
			t.Fatalf("got %+v, %v; want some dropped", f, err)
		}
		repackAll(t, j)
		if n := ask(t, path, `SELECT count(*) FROM repack`); n != 0 {
			t.Errorf("left to pack: got %d, want 0", n)
		}
	})
	t.Run("damaged", func(t *testing.T) {
		path := olderCopy(t)
		alter(t, path, `UPDATE chunk_body SET body = x'0102030405060708' WHERE first = (SELECT min(first) FROM chunk)`)
		j := open(t, path)
		repackAll(t, j)
		if got := ask(t, path, frames); got != 3 {
			t.Errorf("in the new form: got %d chunks, want the 3 that can be read", got)
		}
		if got := ask(t, path, `SELECT count(*) FROM chunk_body WHERE body = x'0102030405060708'`); got != 1 {
			t.Error("the body that can't be read is not as it was")
		}
		if j.Health().Lost == 0 {
			t.Error("the loss is not told")
		}
	})
}

// A compaction packs so many older chunks anew and leaves the rest to the next, each
// chunk in a commit of its own, so that intake goes on between them.
func TestRepackingIsDoneInPortions(t *testing.T) {
	path := newPath(t)
	var committed int
	j := open(t, path, func(c *journal.Config) {
		c.Fault = func(stage string) error {
			if stage == "committed" {
				committed++
			}
			return nil
		}
	})
	const chunks = 20
	var want []farm.Event
	for n := range chunks {
		from := start.AddDate(0, 0, 9*n)
		want = append(want, fill(t, j, days(uint64(n), from, 8*24*time.Hour, 24*time.Hour))...)
		compactAll(t, j, from.AddDate(0, 0, 30))
	}
	alter(t, path, `INSERT INTO repack SELECT first FROM chunk`)
	for _, portion := range []int{16, chunks - 16, 0} {
		committed = 0
		f, err := j.Compact(context.Background(), start, true)
		if err != nil || f.Repacked != portion || committed != portion {
			t.Fatalf("got %+v in %d commits, %v; want %d chunks, each in its own", f, committed, err, portion)
		}
	}
	same(t, "packed anew", replay(t, j, 0), want)
}
