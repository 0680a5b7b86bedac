package notify

import (
	"context"
	"fmt"
	"slices"
	"sync"
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
	// ToldSince lists what a teller was told from a time on in letters of its own, in the
	// order in which that was: not what went along. Next is the time at which it was told.
	ToldSince(ctx context.Context, teller string, from time.Time) ([]farm.Owed, error)
	// HandOver notes in which bundle owed notices are about to leave. If the answer
	// gets lost, or the program dies before it can note it, the very same rows go
	// out again under the same id, nothing added and nothing left out; otherwise a
	// server that drops the second copy would drop what had been added to it.
	HandOver(ctx context.Context, ids []int64, bundle string) error
	// Settle ends what is owed, all of it or nothing: a part that was left would be told
	// once more, and as if what the rest said had never been.
	Settle(ctx context.Context, at time.Time, ends ...farm.Fated) error
	// Postpone keeps owed notices for later, free for another bundle, and notes
	// what the attempt met.
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
	Tokens  Tokens                     // nil: mails have no buttons
	Look    func() (farm.View, bool)   // how the farm stands; false before it is known
	Rounds  func() (farm.Rounds, bool) // the care list; false before it is known
	Ahead   func() (farm.Ahead, bool)  // what comes; nil: the weekly mail does not tell
	Healthy func() error               // nil error: the sign of life may be given
}

// everything is a limit no outbox reaches: planning has to see an episode's
// raise and its easing together, or stale alarms go out.
const everything = 20000

// dueOrNot lists what was postponed too, by whatever clock.
var dueOrNot = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)

// A checkpoint is a note for the outbox of what became of rows.
type checkpoint struct {
	ends []farm.Fated
	at   time.Time
}

// journalled lists what the outbox owes, without what is settled already and
// could not be noted.
func (w *worker) journalled(ctx context.Context) ([]farm.Owed, error) {
	rows, err := w.src.Outbox.Owed(ctx, w.teller.Key, dueOrNot, everything)
	if err != nil {
		return nil, fmt.Errorf("list what is owed: %w", err)
	}
	return slices.DeleteFunc(rows, func(o farm.Owed) bool {
		return slices.ContainsFunc(w.unnoted, func(c checkpoint) bool {
			return slices.ContainsFunc(c.ends, func(e farm.Fated) bool { return slices.Contains(e.IDs, o.ID) })
		})
	}), nil
}

// toldOf lists what the teller was told of an episode: from memory, or from
// disk, never of both.
func (w *worker) toldOf(ctx context.Context, episode string) ([]farm.Owed, error) {
	if told := w.memory.toldOf(episode); len(told) > 0 {
		return told, nil
	}
	return w.toldOnDisk(ctx, episode)
}

func (w *worker) toldOnDisk(ctx context.Context, episode string) ([]farm.Owed, error) {
	told, err := w.src.Outbox.ToldOf(ctx, w.teller.Key, episode)
	if err != nil {
		return nil, fmt.Errorf("list what was told: %w", err)
	}
	return told, nil
}

// settle ends rows, or remembers to when the outbox cannot.
func (w *worker) settle(ctx context.Context, now time.Time, ends ...farm.Fated) {
	c := checkpoint{at: now}
	for _, e := range ends {
		w.counts.add(w.teller.Key, string(e.Fate), len(e.IDs))
		mem, disk := divided(e.IDs, inMemory)
		w.memory.settle(mem, e.Fate, now)
		if len(disk) > 0 {
			c.ends = append(c.ends, farm.Fated{Fate: e.Fate, IDs: disk})
		}
	}
	if len(c.ends) > 0 {
		w.unnoted = append(w.unnoted, c)
		w.note(ctx)
	}
}

// note has the outbox note what was settled. Nothing of it is told again in
// the meantime: a bundle that was accepted stays accepted whatever the disk
// says. At a stop it has a moment longer than everything else.
func (w *worker) note(ctx context.Context) {
	within(ctx, func(ctx context.Context) error {
		for len(w.unnoted) > 0 {
			c := w.unnoted[0]
			if err := w.src.Outbox.Settle(ctx, c.at, c.ends...); err != nil {
				w.log.Warn("outbox not writable", "error", err)
				return err
			}
			w.unnoted = w.unnoted[1:]
		}
		return nil
	})
}

func (w *worker) handOver(ctx context.Context, ids []int64, bundle string) error {
	mem, disk := divided(ids, inMemory)
	w.memory.change(mem, func(o *farm.Owed) { o.Bundle = bundle })
	return wrapped("hand over", w.onDisk(ctx, disk, func(ctx context.Context) error { return w.src.Outbox.HandOver(ctx, disk, bundle) }))
}

func (w *worker) postpone(ctx context.Context, ids []int64, next time.Time, trouble string) error {
	mem, disk := divided(ids, inMemory)
	w.memory.change(mem, func(o *farm.Owed) { o.Bundle, o.Next, o.Trouble, o.Tries = "", next, trouble, o.Tries+1 })
	return wrapped("postpone", w.onDisk(ctx, disk, func(ctx context.Context) error { return w.src.Outbox.Postpone(ctx, disk, next, trouble) }))
}

// onDisk has the outbox note something of rows, if there are any.
func (w *worker) onDisk(ctx context.Context, ids []int64, do func(context.Context) error) error {
	if len(ids) == 0 {
		return nil
	}
	return within(ctx, do)
}

// wrapped says of an error, if it is one, what was being done.
func wrapped(doing string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", doing, err)
}

// memory is a small outbox for what cannot be on disk. Its rows have negative
// ids, so that they pass along with the journal's.
type memory struct {
	mu   sync.Mutex
	last int64
	rows []farm.Owed
	told []farm.Owed
}

func inMemory(id int64) bool { return id < 0 }

// owe adds a change unless it was owed before.
func (m *memory) owe(teller string, c farm.Change, now time.Time) {
	m.mu.Lock()
	defer m.mu.Unlock()
	notice := NoticeID(teller, c)
	same := func(o farm.Owed) bool { return o.Notice == notice }
	if slices.ContainsFunc(m.rows, same) || slices.ContainsFunc(m.told, same) {
		return
	}
	m.last--
	m.rows = append(m.rows, farm.Owed{ID: m.last, Notice: notice, Teller: teller, Change: c, Created: now, Next: now})
}

func (m *memory) owed() []farm.Owed {
	m.mu.Lock()
	defer m.mu.Unlock()
	return slices.Clone(m.rows)
}

func (m *memory) toldOf(episode string) []farm.Owed {
	m.mu.Lock()
	defer m.mu.Unlock()
	told, _ := divided(m.told, func(o farm.Owed) bool { return o.Change.Episode == episode })
	return told
}

// settle takes rows out; those that were told are remembered for a while.
func (m *memory) settle(ids []int64, fate farm.Fate, at time.Time) {
	const remembered = 50
	m.mu.Lock()
	defer m.mu.Unlock()
	settled, rest := divided(m.rows, func(o farm.Owed) bool { return slices.Contains(ids, o.ID) })
	m.rows = rest
	if fate != farm.Dropped {
		for i := range settled {
			settled[i].Next = at
		}
		m.told = append(m.told, settled...)
		m.told = slices.Clone(m.told[max(0, len(m.told)-remembered):])
	}
}

func (m *memory) change(ids []int64, how func(*farm.Owed)) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for i := range m.rows {
		if slices.Contains(ids, m.rows[i].ID) {
			how(&m.rows[i])
		}
	}
}

// divided gives those for which yes holds and the others, both in their order.
func divided[T any](all []T, yes func(T) bool) (are, others []T) {
	for _, one := range all {
		if yes(one) {
			are = append(are, one)
		} else {
			others = append(others, one)
		}
	}
	return are, others
}

func idsOf(rows []farm.Owed) []int64 {
	var ids []int64
	for _, o := range rows {
		ids = append(ids, o.ID)
	}
	return ids
}
