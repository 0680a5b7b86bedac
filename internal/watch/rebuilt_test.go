package watch_test

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/journal"
	"binwatchd/internal/rules"
	"binwatchd/internal/watch"
)

// A snapshot of which any part can't be read, as one of another version, costs a
// replay of the journal and nothing else.
func TestASnapshotThatCannotBeReadIsReplayed(t *testing.T) {
	ctx, f, now := context.Background(), bed(), time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	state, err := rules.New(f).Save()
	if err != nil {
		t.Fatal(err)
	}
	arrivals, err := ingest.NewArrivals(f).Save()
	if err != nil {
		t.Fatal(err)
	}
	doubts, err := ingest.NewDoubter(f).Save()
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name             string
		doubts, arrivals []byte
		replayed         int
	}{
		{"sound", doubts, arrivals, 0},
		{"doubts of another version", []byte(`{"version":99}`), arrivals, 1},
		{"arrivals that are no JSON", doubts, []byte("x"), 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			j, err := journal.Open(ctx, journal.Config{Path: filepath.Join(t.TempDir(), "journal.db"), Now: func() time.Time { return now }})
			if err != nil {
				t.Fatal(err)
			}
			defer j.Close()
			read := farm.Event{Kind: farm.EventReading, Arrived: now, Reading: farm.Reading{Probe: "t", At: now, Raw: 20, Value: 20}}
			b := &journal.Batch{
				Entries:  []journal.Entry{{Event: read}},
				Snapshot: &journal.Snapshot{Version: rules.SnapshotVersion, Taken: now, Rules: state, Doubts: tt.doubts, Arrivals: tt.arrivals},
			}
			if err := j.Append(ctx, b); err != nil {
				t.Fatal(err)
			}
			got, err := watch.Rebuild(ctx, j, f)
			if err != nil {
				t.Fatal(err)
			}
			if got.Replayed != tt.replayed || got.State.Knows("t") != (tt.replayed > 0) {
				t.Errorf("replayed %d events, want %d", got.Replayed, tt.replayed)
			}
		})
	}
}
