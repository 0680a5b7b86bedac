package journal_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

const keeper = "mail:keeper@example.org"

// change is one step of an episode.
func change(episode string, kind farm.ChangeKind, at time.Time) farm.Change {
	return farm.Change{At: at, Bin: "bed", Zone: "near", Condition: farm.TooHot, Change: kind, Urgency: farm.Today, Text: string(kind), Episode: episode}
}

// appendChange appends a change, told to the keeper if owed.
func appendChange(t *testing.T, j *journal.Journal, c farm.Change, tellers ...string) journal.Change {
	t.Helper()
	b := &journal.Batch{
		Entries: []journal.Entry{{Event: farm.Event{Kind: farm.EventTick, Arrived: c.At}}},
		Changes: []journal.Change{{Change: c}},
	}
	for _, teller := range tellers {
		b.Owed = append(b.Owed, journal.Owe{Teller: teller})
	}
	if err := j.Append(context.Background(), b); err != nil {
		t.Fatal(err)
	}
	return b.Changes[0]
}

func owed(t *testing.T, j *journal.Journal, teller string, now time.Time) []farm.Owed {
	t.Helper()
	got, err := j.Owed(context.Background(), teller, now, 100)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestOutboxFromOwedToTold(t *testing.T) {
	ctx := context.Background()
	path := newPath(t)
	j := open(t, path)
	raised := appendChange(t, j, change("e1", farm.Raised, start), keeper, "push:1")
	select {
	case <-j.Wake():
	default:
		t.Error("nobody was woken")
	}
	first := owed(t, j, keeper, start)
	if len(first) != 1 || first[0].ChangeID != raised.ID || first[0].Notice == "" || !first[0].Created.Equal(start) {
		t.Fatalf("owed: got %+v", first)
	}
	same(t, "what to tell", first[0].Change, raised.Change)
	if other := owed(t, j, "push:1", start); len(other) != 1 || other[0].Notice == first[0].Notice {
		t.Errorf("the other recipient: got %+v, want a notice of its own", other)
	}

	if err := j.Postpone(ctx, []int64{first[0].ID}, start.Add(time.Minute), "server away"); err != nil {
		t.Fatal(err)
	}
	if got := owed(t, j, keeper, start.Add(59*time.Second)); len(got) != 0 {
		t.Errorf("before it is due: got %+v", got)
	}
	j = reopen(t, j, path)
	again := owed(t, j, keeper, start.Add(time.Minute))
	if len(again) != 1 || again[0].Tries != 1 || again[0].Trouble != "server away" || again[0].Notice != first[0].Notice {
		t.Fatalf("after a restart: got %+v, want the same notice, one try", again)
	}
	waiting, err := j.Waiting(ctx)
	if err != nil {
		t.Fatal(err)
	}
	same(t, "waiting", waiting, []journal.Waiting{
		{Teller: keeper, N: 1, Oldest: start, Tries: 1, Trouble: "server away"},
		{Teller: "push:1", N: 1, Oldest: start},
	})

	told := start.Add(2 * time.Minute)
	if err := j.Settle(ctx, told, farm.Fated{Fate: farm.Told, IDs: []int64{again[0].ID}}); err != nil {
		t.Fatal(err)
	}
	if err := j.Settle(ctx, told.Add(time.Hour), farm.Fated{Fate: farm.Dropped, IDs: []int64{again[0].ID}}); err != nil {
		t.Fatal(err)
	}
	if got := owed(t, j, keeper, start.Add(time.Hour)); len(got) != 0 {
		t.Errorf("after it was told: got %+v", got)
	}
	got, err := j.ToldOf(ctx, keeper, "e1")
	if err != nil || len(got) != 1 || got[0].Notice != first[0].Notice || !got[0].Next.Equal(told) {
		t.Errorf("told of the episode: got %+v, %v", got, err)
	}
	if got, err := j.ToldOf(ctx, "push:1", "e1"); err != nil || len(got) != 0 {
		t.Errorf("told to who was not told: got %+v, %v", got, err)
	}
}

// A notice stays in the bundle in which it was handed over, over a restart too,
// until the attempt is known to have failed.
func TestHandedOver(t *testing.T) {
	ctx := context.Background()
	path := newPath(t)
	j := open(t, path)
	appendChange(t, j, change("e1", farm.Raised, start), keeper)
	first := owed(t, j, keeper, start)[0]
	reminder := farm.Owed{Notice: "r1", Teller: keeper, ChangeID: first.ChangeID, Reminder: true, Created: start}
	if err := j.Owe(ctx, []farm.Owed{reminder}); err != nil {
		t.Fatal(err)
	}
	if err := j.HandOver(ctx, []int64{first.ID}, "b1"); err != nil {
		t.Fatal(err)
	}
	j = reopen(t, j, path)
	got := owed(t, j, keeper, start)
	if len(got) != 2 || got[0].Bundle != "b1" || got[0].Tries != 0 || got[0].Reminder || got[1].Bundle != "" || !got[1].Reminder {
		t.Fatalf("after a restart: got %+v, want the first in its bundle, and a reminder in none", got)
	}
	if err := j.Postpone(ctx, []int64{first.ID}, start, "refused"); err != nil {
		t.Fatal(err)
	}
	if got := owed(t, j, keeper, start)[0]; got.Bundle != "" || got.Tries != 1 {
		t.Errorf("after the attempt has failed: got %+v, want it free", got)
	}
}

// What versions of schema 2 wrote into texts is read as what it meant.
func TestOlderOutbox(t *testing.T) {
	path := olderCopy(t)
	alter(t, path, `UPDATE owed SET notice = 'remind-0f', trouble = 'being handed over as n1' WHERE notice = 'n1'`)
	alter(t, path, `UPDATE owed SET trouble = 'the server is being handed over as a gift' WHERE notice = 'n2'`)
	got := map[string]farm.Owed{}
	for _, o := range owed(t, open(t, path), keeper, olderEnd) {
		got[o.Notice] = o
	}
	if o := got["remind-0f"]; !o.Reminder || o.Bundle != "n1" || o.Trouble != "" {
		t.Errorf("a reminder that was handed over: got %+v", o)
	}
	if o := got["n2"]; o.Reminder || o.Bundle != "" || o.Trouble == "" {
		t.Errorf("a notice with trouble: got %+v", o)
	}
}

func TestOwedIsInOrderAndBounded(t *testing.T) {
	j := open(t, newPath(t))
	for i := range 5 {
		appendChange(t, j, change(fmt.Sprint("e", i), farm.Raised, start.Add(time.Duration(i)*time.Minute)), keeper)
	}
	got, err := j.Owed(context.Background(), keeper, start.Add(time.Hour), 3)
	if err != nil {
		t.Fatal(err)
	}
	var episodes []string
	for _, o := range got {
		episodes = append(episodes, o.Change.Episode)
	}
	same(t, "episodes", episodes, []string{"e0", "e1", "e2"})
}

func TestReminderIsANoticeOfItsOwn(t *testing.T) {
	ctx := context.Background()
	j := open(t, newPath(t))
	raised := appendChange(t, j, change("e1", farm.Raised, start), keeper)
	later := start.Add(12 * time.Hour)
	if err := j.Owe(ctx, []farm.Owed{{Teller: keeper, ChangeID: raised.ID, Created: later, Next: later.Add(time.Minute)}}); err != nil {
		t.Fatal(err)
	}
	got := owed(t, j, keeper, later.Add(time.Minute))
	if len(got) != 2 || got[0].Notice == got[1].Notice || !got[1].Created.Equal(later) {
		t.Fatalf("got %+v, want the notice and its reminder", got)
	}
	if got := owed(t, j, keeper, later); len(got) != 1 {
		t.Errorf("before the reminder is due: got %d", len(got))
	}
	if err := j.Owe(ctx, []farm.Owed{{Teller: keeper, ChangeID: 99, Created: later}}); err == nil {
		t.Error("a reminder of no change: got no error")
	}
	if err := j.Owe(ctx, []farm.Owed{got[1]}); err == nil {
		t.Error("the same notice twice: got no error")
	}
}

func TestStandingIsTheLastChangeOfWhatIsNotEased(t *testing.T) {
	ctx := context.Background()
	path := newPath(t)
	j := open(t, path)
	at := func(m int) time.Time { return start.Add(time.Duration(m) * time.Minute) }
	appendChange(t, j, change("goes", farm.Raised, at(0)))
	appendChange(t, j, change("stays", farm.Raised, at(1)))
	appendChange(t, j, change("returns", farm.Raised, at(2)))
	worse := appendChange(t, j, change("stays", farm.Worsened, at(3)))
	appendChange(t, j, change("goes", farm.Eased, at(4)))
	appendChange(t, j, change("returns", farm.Eased, at(5)))
	again := change("returns", farm.Raised, at(6))
	again.Again = true
	appendChange(t, j, again)
	j = reopen(t, j, path)
	got, err := j.Standing(ctx)
	if err != nil {
		t.Fatal(err)
	}
	same(t, "standing", got, []farm.Change{worse.Change, again})

	recent, err := j.Changes(ctx, "bed", at(5), at(60))
	if err != nil || len(recent) != 2 || recent[1].Episode != "returns" {
		t.Errorf("recent: got %+v, %v; want the last two", recent, err)
	}
	ofBin, err := j.Changes(ctx, "bed", at(1), at(3))
	if err != nil || len(ofBin) != 2 {
		t.Errorf("changes of the bin: got %+v, %v; want those of minutes 1 and 2", ofBin, err)
	}
	if got, err := j.Changes(ctx, "crate", start, at(60)); err != nil || len(got) != 0 {
		t.Errorf("changes of another bin: got %+v, %v", got, err)
	}
}

// A change that no event causes, found at the start, stands at the end of the
// journal.
func TestChangeWithoutAnEvent(t *testing.T) {
	j := open(t, newPath(t))
	appendEvents(t, j, reading("bed-t", start, 64, 18))
	b := &journal.Batch{Changes: []journal.Change{{Change: change("gone", farm.Eased, start)}}, Owed: []journal.Owe{{Teller: keeper}}}
	if err := j.Append(context.Background(), b); err != nil {
		t.Fatal(err)
	}
	if b.Changes[0].Seq != 1 || b.Changes[0].ID != 1 {
		t.Errorf("place: got %+v, want sequence 1, id 1", b.Changes[0])
	}
	if got := owed(t, j, keeper, start); len(got) != 1 || !got[0].Created.Equal(start) {
		t.Errorf("owed: got %+v", got)
	}
}

func TestSnapshotsTakeTurns(t *testing.T) {
	ctx := context.Background()
	path := newPath(t)
	j := open(t, path)
	if _, ok, err := j.Snapshot(ctx); ok || err != nil {
		t.Fatalf("of a new journal: got %v, %v; want none", ok, err)
	}
	var last journal.Snapshot
	for i := range 5 {
		last = journal.Snapshot{Seq: int64(i + 1), Version: 2, Digest: "abc", Taken: start.Add(time.Duration(i) * time.Hour),
			Rules: []byte(fmt.Sprint("rules ", i)), Doubts: []byte{0, byte(i)}, Arrivals: []byte(fmt.Sprint("arrivals ", i))}
		b := &journal.Batch{Entries: []journal.Entry{{Event: reading("bed-t", start, 64, 18)}}, Snapshot: &last}
		if i%2 == 0 {
			unplaced := last
			unplaced.Seq = 0
			b.Snapshot = &unplaced
		}
		if err := j.Append(ctx, b); err != nil {
			t.Fatal(err)
		}
	}
	got, ok, err := j.Snapshot(ctx)
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	same(t, "newest", got, last)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	alter(t, path, `UPDATE snapshot SET body = x'00112233445566' WHERE seq = 5`)
	j = open(t, path)
	if got, ok, err = j.Snapshot(ctx); err != nil || !ok || got.Seq != 4 || string(got.Rules) != "rules 3" {
		t.Errorf("after the newest was damaged: got %+v, %v, %v; want the one before", got, ok, err)
	}
}

// Packet ids are given out anew in each session, and a redelivered message may
// be a jot as well as a reading.
func TestRepeatsKnowTheirSession(t *testing.T) {
	ctx := context.Background()
	path := newPath(t)
	j := open(t, path)
	one := func(session int64, packet uint16, e farm.Event) {
		t.Helper()
		if err := j.Append(ctx, &journal.Batch{Session: session, Entries: []journal.Entry{{Event: e, Packet: packet, Hash: 100 + uint32(packet)}}}); err != nil {
			t.Fatal(err)
		}
	}
	jot := farm.Event{Kind: farm.EventJot, Arrived: start, Jot: farm.Jot{At: start, Bin: "bed", What: farm.Fed}}
	one(1, 5, reading("bed-t", start, 64, 18))
	one(1, 6, jot)
	appendEvents(t, j, farm.Event{Kind: farm.EventTick, Arrived: start})
	one(2, 5, reading("bed-m", start, 1800, 64))
	j = reopen(t, j, path)
	one(2, 6, reading("bed-m", start, 1801, 64))
	got, err := j.Repeats(ctx, 3)
	if err != nil {
		t.Fatal(err)
	}
	want := []journal.Repeat{
		{Packet: 6, Hash: 106, Session: 2, Seq: 5},
		{Packet: 5, Hash: 105, Session: 2, Seq: 4},
		{Packet: 6, Hash: 106, Session: 1, Seq: 2},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

// What was told of late is listed as it was told: without what went along, of others or before.
func TestWhatWasToldOfLate(t *testing.T) {
	ctx := context.Background()
	j := open(t, newPath(t))
	for i, of := range []struct {
		teller string
		fate   farm.Fate
		after  time.Duration
	}{{keeper, farm.Told, 0}, {keeper, farm.Told, 2 * time.Hour}, {keeper, farm.Summed, 2 * time.Hour}, {keeper, farm.Told, time.Hour}, {"push:1", farm.Told, time.Hour}, {keeper, "", 0}} {
		appendChange(t, j, change(fmt.Sprintf("e%d", i), farm.Raised, start), of.teller)
		if rows := owed(t, j, of.teller, start); of.fate != "" {
			if err := j.Settle(ctx, start.Add(of.after), farm.Fated{Fate: of.fate, IDs: []int64{rows[len(rows)-1].ID}}); err != nil {
				t.Fatal(err)
			}
		}
	}
	rows, err := j.ToldSince(ctx, keeper, start.Add(time.Hour))
	if err != nil || len(rows) != 2 || rows[0].Change.Episode != "e3" || rows[1].Change.Episode != "e1" || !rows[0].Next.Equal(start.Add(time.Hour)) {
		t.Errorf("got %+v, %v", rows, err)
	}
}
