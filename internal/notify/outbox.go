package notify

import (
	"context"
	"time"

	"binwatchd/internal/farm"
)

// An Outbox is where owed notices are on disk. The journal is one.
type Outbox interface {
	// Owed lists what is owed to a teller and whose Next is not after a time,
	// oldest first, at most limit of them.
	Owed(ctx context.Context, teller string, due time.Time, limit int) ([]farm.Owed, error)
	// ToldOf lists what a teller was told of an episode, oldest first. Next of
	// each is the time at which it was told.
	ToldOf(ctx context.Context, teller, episode string) ([]farm.Owed, error)
	// Settle ends what is owed.
	Settle(ctx context.Context, ids []int64, fate farm.Fate, at time.Time) error
	// Postpone keeps owed notices for later and notes what the attempt met.
	Postpone(ctx context.Context, ids []int64, next time.Time, trouble string) error
	// Owe adds notices that no new change causes: reminders.
	Owe(ctx context.Context, owed []farm.Owed) error
	// Wake gives a value after commits that owe something.
	Wake() <-chan struct{}
}

// A History is what pictures and mails show of the past. The journal is one.
type History interface {
	Samples(ctx context.Context, bin, zone string, q farm.Quantity, from, to time.Time, step time.Duration) ([]farm.Sample, error)
	Jots(ctx context.Context, bin string, from, to time.Time) ([]farm.Jot, error)
}

// Cursors remember numbers by name across restarts. The journal does. A name
// never set gives 0.
type Cursors interface {
	Cursor(ctx context.Context, name string) (int64, error)
	SetCursor(ctx context.Context, name string, to int64) error
}

// Sources are what the sender reads, and the outbox it drains. A test of the
// tellers needs none of them; Run needs the outbox.
type Sources struct {
	Outbox  Outbox
	History History                    // nil: mails have no pictures
	Cursors Cursors                    // nil: no rounds mail on schedule
	Look    func() (farm.View, bool)   // how the farm stands; false before it is known
	Rounds  func() (farm.Rounds, bool) // the care list; false before it is known
	Healthy func() error               // nil error: the sign of life may be given
}

// everything is a limit no outbox reaches: planning has to see an episode's
// raise and its easing together, or stale alarms go out.
const everything = 20000

// dueOrNot lists what was postponed too, by whatever clock.
var dueOrNot = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)
