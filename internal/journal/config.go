package journal

import (
	"log/slog"
	"time"
)

// A Config says where the journal is and how it is kept.
type Config struct {
	Path string           // the SQLite file; its directory must exist
	Keep time.Duration    // how long raw readings are kept; 0: for ever
	Log  *slog.Logger     // nil: nothing is logged
	Now  func() time.Time // the wall clock
	Boot Boot             // of this run; see ReadBoot

	// Brief says that it is opened by a command, to note something and be closed
	// at once. A daemon that starts meanwhile waits for that.
	Brief bool

	// Fault, when set, is called at each stage of a write ("begin", "append",
	// "commit", "committed", "fold"); its error makes the write fail there. It
	// exists for tests of what happens then.
	Fault func(stage string) error
}

// A Boot ties the wall clock to the kernel's monotonic one, so that times taken
// while the wall clock was wrong can be put right afterwards.
type Boot struct {
	ID     string        // the kernel's boot id; "" when not known
	Offset time.Duration // wall clock minus time since boot, at the start of the run
}

// A Run is one life of the daemon on this journal, with its boot record.
type Run struct {
	ID    int64
	Boot  Boot
	Began time.Time // wall clock at the start, as wrong as it may have been
	After int64     // the last sequence number before the run
	Clean bool      // ended by Close
}
