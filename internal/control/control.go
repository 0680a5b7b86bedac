// Package control is the one way for commands to a running daemon: a unix
// socket beside the journal that speaks a small HTTP. Who may open the socket
// may act: it is readable and writable by the daemon's user and group only.
//
// A farm is known by its journal: a command says which one it means, and a daemon
// that keeps another refuses it, so that nothing is noted for the wrong bins.
//
// The server side is run by the daemon and turns requests into calls of a
// [Daemon]; the client side is used by the commands. It knows nothing of rules
// or journal.
package control

import (
	"context"
	"errors"
	"io"

	"binwatchd/internal/farm"
)

// ErrNoDaemon says that nobody listens at the socket.
var ErrNoDaemon = errors.New("no daemon is running here")

// A Daemon is what the running daemon lets commands do.
type Daemon interface {
	// Look gives how the farm stands; closely, with what has to be reckoned for it.
	Look(ctx context.Context, closely bool) (farm.View, error)
	// Act notes jots, hushes or what was seen, and returns once they are on disk.
	Act(ctx context.Context, all ...farm.Event) error
	// Copy writes the journal to w where its path no longer names it;
	// [ErrInPlace] where it does.
	Copy(ctx context.Context, w io.Writer) error
}

// ErrInPlace says that the journal can be copied from its path.
var ErrInPlace = errors.New("the journal is in its place")

// journalHeader carries the path of the journal that a request is meant for.
const journalHeader = "Binwatchd-Journal"

// An Action is what to note.
type Action struct {
	Strike *farm.Strike `json:"strike,omitempty"`
	Jots   []farm.Jot   `json:"jots,omitempty"`
	Hushes []farm.Hush  `json:"hushes,omitempty"`
	Seen   []farm.Seen  `json:"seen,omitempty"`
}

// Events makes the events of an action; none when the action is empty.
func (a Action) Events() (all []farm.Event) {
	if a.Strike != nil {
		all = append(all, farm.Event{Kind: farm.EventStrike, Strike: *a.Strike})
	}
	for _, j := range a.Jots {
		all = append(all, farm.Event{Kind: farm.EventJot, Jot: j})
	}
	for _, h := range a.Hushes {
		all = append(all, farm.Event{Kind: farm.EventHush, Hush: h})
	}
	for _, s := range a.Seen {
		all = append(all, farm.Event{Kind: farm.EventSeen, Seen: s})
	}
	return all
}
