package journal_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

var errPulled = errors.New("the plug was pulled")

// trap makes one stage of the next write fail.
type trap struct{ stage string }

func (tr *trap) option(c *journal.Config) {
	c.Fault = func(stage string) error {
		if stage == tr.stage {
			tr.stage = ""
			return errPulled
		}
		return nil
	}
}

// twoReadings is a batch with everything in it.
func twoReadings(at time.Time) *journal.Batch {
	return &journal.Batch{
		Session: 1,
		Entries: []journal.Entry{
			{Event: reading("bed-t", at, 95, 35), Packet: 7, Hash: 0xfffffffe},
			{Event: reading("bed-m", at, 1800, 64), Packet: 8, Sender: 0xfedcba98, Hash: 9},
		},
		Changes: []journal.Change{{Entry: 1, Change: farm.Change{
			At: at, Bin: "bed", Zone: "near", Condition: farm.TooHot, Change: farm.Raised, Urgency: farm.Now,
			Text: "near of bed is too hot", Episode: "bed-near-too-hot-1"}}},
		Owed:     []journal.Owe{{Teller: "mail:keeper@example.org"}},
		Snapshot: &journal.Snapshot{Version: 3, Digest: "d", Taken: at, Rules: []byte("rules"), Doubts: []byte("doubts")},
	}
}

// What is kept of a journal, for comparing before with after.
type kept struct {
	Events   []farm.Event
	Standing []farm.Change
	Owed     int
	Snapshot int64
	Repeats  int
}

func look(t *testing.T, j *journal.Journal) kept {
	t.Helper()
	ctx := context.Background()
	k := kept{Events: replay(t, j, 0)}
	var err error
	if k.Standing, err = j.Standing(ctx); err != nil {
		t.Fatal(err)
	}
	owed, err := j.Owed(ctx, "mail:keeper@example.org", start.Add(24*time.Hour), 10)
	if err != nil {
		t.Fatal(err)
	}
	k.Owed = len(owed)
	s, _, err := j.Snapshot(ctx)
	if err != nil {
		t.Fatal(err)
	}
	k.Snapshot = s.Seq
	repeats, err := j.Repeats(ctx, 10)
	if err != nil {
		t.Fatal(err)
	}
	k.Repeats = len(repeats)
	return k
}

func TestFailedAppendLeavesNothingBehind(t *testing.T) {
	for _, stage := range []string{"begin", "append", "commit"} {
		t.Run(stage, func(t *testing.T) {
			var tr trap
			j := open(t, newPath(t), tr.option)
			appendEvents(t, j, farm.Event{Kind: farm.EventStart, Arrived: start})
			before := look(t, j)

			tr.stage = stage
			if err := j.Append(context.Background(), twoReadings(start)); !errors.Is(err, errPulled) {
				t.Fatalf("append: got %v, want the fault", err)
			}
			same(t, "after the failed append", look(t, j), before)

			b := twoReadings(start)
			if err := j.Append(context.Background(), b); err != nil {
				t.Fatal(err)
			}
			if got := b.Entries[0].Event.Seq; got != 2 {
				t.Errorf("sequence after the failed append: got %d, want 2", got)
			}
			if after := look(t, j); len(after.Events) != 3 || len(after.Standing) != 1 || after.Owed != 1 || after.Snapshot != 3 || after.Repeats != 2 {
				t.Errorf("after the second append: got %+v", after)
			}
		})
	}
}

// A commit may report an error and be on disk all the same. Then the sequence
// must go on after it, and the repeat must be recognised.
func TestCommitThatIsOnDiskThoughItFailed(t *testing.T) {
	var tr trap
	j := open(t, newPath(t), tr.option)
	tr.stage = "committed"
	if err := j.Append(context.Background(), twoReadings(start)); !errors.Is(err, errPulled) {
		t.Fatalf("append: got %v, want the fault", err)
	}
	repeats, err := j.Repeats(context.Background(), 10)
	if err != nil {
		t.Fatal(err)
	}
	same(t, "repeats", repeats, []journal.Repeat{
		{Packet: 8, Sender: 0xfedcba98, Hash: 9, Session: 1, Seq: 2},
		{Packet: 7, Hash: 0xfffffffe, Session: 1, Seq: 1},
	})
	if got := appendEvents(t, j, reading("bed-t", start, 64, 18))[0].Seq; got != 3 {
		t.Errorf("next sequence number: got %d, want 3", got)
	}
}

func TestAppendRefusesWhatDoesNotFit(t *testing.T) {
	at := start
	for name, b := range map[string]*journal.Batch{
		"no arrival":      {Entries: []journal.Entry{{Event: farm.Event{Kind: farm.EventTick}}}},
		"no probe":        {Entries: []journal.Entry{{Event: farm.Event{Kind: farm.EventReading, Arrived: at}}}},
		"unknown kind":    {Entries: []journal.Entry{{Event: farm.Event{Kind: 99, Arrived: at}}}},
		"no such entry":   {Entries: []journal.Entry{{Event: farm.Event{Kind: farm.EventTick, Arrived: at}}}, Changes: []journal.Change{{Entry: 1}}},
		"no such change":  {Owed: []journal.Owe{{Change: 0}}},
		"negative change": {Changes: []journal.Change{{}}, Owed: []journal.Owe{{Change: -1}}},
	} {
		t.Run(name, func(t *testing.T) {
			j := open(t, newPath(t))
			if err := j.Append(context.Background(), b); err == nil {
				t.Fatal("got no error")
			}
			if got := replay(t, j, 0); len(got) != 0 {
				t.Errorf("kept of it: %+v", got)
			}
		})
	}
}

// A compaction that stops half way has moved every reading or none.
func TestFailedCompactionLosesNothing(t *testing.T) {
	var tr trap
	j := open(t, newPath(t), tr.option)
	want := fill(t, j, days(4, start, 9*24*time.Hour, time.Hour))
	now := start.Add(20 * 24 * time.Hour)
	for _, stage := range []string{"compact", "begin", "commit", "committed", "begin", "committed", "commit", "committed"} {
		tr.stage = stage
		if _, err := j.Compact(context.Background(), now, true); err != nil && !errors.Is(err, errPulled) {
			t.Fatal(err)
		}
		same(t, "after a fault at "+stage, replay(t, j, 0), want)
	}
	tr.stage = ""
	before := samples(t, j, "bed", "near", farm.Temperature, start, now, time.Hour)
	compactAll(t, j, now)
	same(t, "after packing", replay(t, j, 0), want)
	same(t, "history", samples(t, j, "bed", "near", farm.Temperature, start, now, time.Hour), before)
}

func samples(t *testing.T, j *journal.Journal, bin, zone string, q farm.Quantity, from, to time.Time, step time.Duration) []farm.Sample {
	t.Helper()
	got, err := j.Samples(context.Background(), bin, zone, q, from, to, step)
	if err != nil {
		t.Fatal(err)
	}
	return got
}
