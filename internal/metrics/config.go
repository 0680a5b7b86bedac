package metrics

import (
	"log/slog"
	"time"

	"binwatchd/internal/farm"
)

// A Config names what is to be shown. Its functions are called during a scrape, by
// several at once, and must not block for long. A false tells that there is nothing
// to show now; a nil function that there never is.
type Config struct {
	Version string                   // of the program
	Look    func() (farm.View, bool) // how the farm stands; needed
	Journal func() (Journal, bool)
	Influx  func() (Influx, bool)
	Notices func() []Notices
	Log     *slog.Logger // nil: nothing is logged
}

// Journal is the size of the journal.
type Journal struct {
	FileBytes int64     // of the database file
	LogBytes  int64     // of the write-ahead log beside it
	FreeBytes int64     // of the file, to be used again
	Packed    int64     // readings in chunks
	Unpacked  int64     // readings not packed yet
	Events    int64     // all other events
	Oldest    time.Time // arrival of the oldest raw reading kept; zero: there is none
}

// Influx is how forwarding stands. Counts begin with the daemon.
type Influx struct {
	Waiting int64     // readings that the database does not have yet
	Written int64     // rows accepted
	Parked  int64     // rows refused and put aside
	Failed  int64     // requests that brought nothing
	At      time.Time // of the newest success; zero before
}

// Notices counts what became of notices since the daemon began.
type Notices struct {
	By      string // mail, push or webhook
	Outcome string // a fixed word
	Count   int64
}
