package influx

import (
	"context"
	"time"

	"binwatchd/internal/farm"
)

// A Stretch is what the journal holds after some place.
type Stretch struct {
	Events  []farm.Event  // readings and jots in journal order; other kinds are passed over
	Changes []farm.Change // those that followed from what lies in the stretch
	Last    int64         // the place after which the next stretch begins
}

// A Source hands out the journal.
type Source interface {
	// Forward gives what follows after a place, oldest first, with at most
	// limit events. At the journal's end Last is the after that was asked
	// for, and the rest is empty.
	Forward(ctx context.Context, after int64, limit int) (Stretch, error)
}

// A Ledger remembers how far the forwarder got and what it had to leave behind.
type Ledger interface {
	// Cursor gives the place last set under the name, 0 when none was.
	Cursor(ctx context.Context, name string) (int64, error)
	SetCursor(ctx context.Context, name string, to int64) error
	// Park keeps rows that the server refuses, for the keeper to see.
	Park(ctx context.Context, rows []Parked) error
}

// Parked is a row that the server refuses. The reading itself stays in the
// journal, so a resend brings it once the server takes it.
type Parked struct {
	At     time.Time // when it was parked
	Line   string    // the row in line protocol; the first one, where the reason speaks of many
	Reason string    // the server's words
	Rows   int       // how many it stands for: many only for rows in a row that are too old for the database, else one
}
