// Package watch runs the one live loop of the daemon: it takes deliveries from
// the broker, has ingest make readings of them and rules judge them, commits
// readings, changes and owed notices to the journal in one transaction, and
// only then acknowledges.
//
//	delivery → decode → doubt → rules.Step → commit → acknowledge
//
// loop.go is the loop, intake.go what becomes of a delivery, commit.go how a batch
// reaches the disk, restore.go how the state is made from the journal, clock.go
// how times are put right, outage.go what happens while the journal can't be
// written, ask.go what others may ask.
//
// One goroutine owns all of it; everybody else asks it through [Loop.Look],
// [Loop.Act] and [Loop.Reload]. A failed commit acknowledges nothing: the
// state in memory is thrown away and rebuilt from the journal, and the broker
// is made to send again. What downstream does never stalls the loop, because
// downstream only reads the journal.
package watch

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"sync/atomic"
	"time"

	"binwatchd/internal/clock"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
	"binwatchd/internal/journal"
)

// A Source hands over what the broker sends: [ingest.Source] as a subscriber,
// [ingest.Listener] as the probes' own broker.
type Source interface {
	// Items carries deliveries and links in the order they happened.
	Items() <-chan ingest.Item
	// Reconnect drops the connection, so that all that is not acknowledged
	// comes again.
	Reconnect()
}

// Config is what the loop needs to know.
type Config struct {
	Farm    *farm.Farm
	File    string // of the configuration, as a command names it; "": none
	Digest  string // names the configuration in force; a snapshot carries it
	Prefix  string // of jots, hushes and seens
	Flush   time.Duration
	Journal *journal.Journal
	Source  Source
	Owes    func(farm.Change) []farm.Owed // who is to be told, under which identity
	TellNow func(farm.Change)             // tells at once, from memory, when the journal can't be written
	Answer  func(*ingest.Answer)          // sends the sender of a jot what has become of it; it does not wait; nil: nobody does
	Said    func([]farm.Change)           // hears what has changed, once it is on disk; nil: nobody
	Took    func(*farm.Farm, int64)       // hears from which sequence number on another farm is in force; nil: nobody
	Moved   func(from int64)              // hears that what is on disk from a sequence number on got other times; nil: nobody
	Log     *slog.Logger
	Now     func() time.Time
	Speed   float64        // how much faster than real time Now goes; 0: as fast
	Clock   *clock.Sources // where the wall clock may be wrong; nil: Now is right
	Built   time.Time      // no true time is earlier
	Outage  time.Time      // since when the journal could not be opened, of which the keeper was told; zero: it could
}

// A Loop is the live loop. Make one with [New], then [Loop.Run] it.
type Loop struct {
	memory  Rebuilt // what the journal says, and what has happened since
	cfg     Config
	decoder *ingest.Decoder

	batch   batch                // fills
	spare   batch                // empty, to fill next
	writing batch                // on its way to the disk
	written chan error           // has a value when it is there; nil: nothing is on its way
	idle    chan struct{}        // closed when nothing is on its way
	sent    time.Time            // when what is on its way set out
	changed *ingest.Link         // has come while something was on its way
	newest  map[string]time.Time // when each probe's newest unstamped reading was measured
	repeats repeats
	misread map[string]bool           // topics with a message that was not understood, once that has been logged
	weather map[string]weatherMessage // the newest of each topic that was taken
	words   map[string]string         // the newest of each topic on which a device says that it is there
	paced   map[string]bool           // probes whose pace, another than the keeper has said, has been logged
	counts  counts
	outage  outage
	stocks  []farm.Stock // as noted last
	stale   bool         // what is in memory was learned from a line that was struck
	time    timekeeping
	shown   atomic.Pointer[shown]

	asks chan func()   // what other goroutines want done inside the loop
	gone chan struct{} // closed when Run has returned
}

// New rebuilds the state from the journal. Nothing runs yet.
func New(ctx context.Context, cfg Config) (*Loop, error) {
	l := &Loop{
		cfg: cfg, asks: make(chan func()), gone: make(chan struct{}), counts: newCounts(), repeats: newRepeats(0),
		newest: map[string]time.Time{}, paced: map[string]bool{}, misread: map[string]bool{}, words: map[string]string{},
		weather: map[string]weatherMessage{},
	}
	if err := l.rebuild(ctx); err != nil {
		return nil, err
	}
	if err := l.begin(ctx); err != nil {
		return nil, err
	}
	if !cfg.Outage.IsZero() {
		l.outage = outage{since: cfg.Outage, over: l.now()}
	}
	return l, nil
}

// Run serves until ctx ends, then commits what waits. It is called once.
func (l *Loop) Run(ctx context.Context) error {
	defer close(l.gone)
	flush := time.NewTimer(time.Hour)
	defer flush.Stop()
	minute := time.NewTimer(l.untilMinute())
	defer minute.Stop()
	source := l.cfg.Source.Items()
	for {
		if l.changed != nil && l.written == nil {
			l.link(ctx, *l.changed)
			l.changed = nil
		}
		l.unlearn(ctx)
		l.due(ctx)
		l.armFlush(flush)
		items := source
		if l.outage.on() || l.changed != nil || l.batch.waiting() >= most {
			items = nil // intake holds; the broker keeps the messages
		}
		select {
		case err := <-l.written:
			_ = l.endWrite(err) // a failure has been dealt with
		case it, open := <-items:
			switch {
			case !open:
				source = nil // the source has ended; commands may go on
			case it.Link != nil:
				l.changed = it.Link // for when the disk has answered
			case it.Delivery != nil:
				l.delivery(it.Delivery)
			}
		case <-minute.C:
			l.tick(ctx)
			minute.Reset(l.untilMinute())
		case <-flush.C:
			switch { // a commit, or the next try after one that did not happen
			case l.written != nil: // what waits is looked at when the write is done
			case l.outage.on():
				l.retry(ctx)
			default:
				l.startWrite(ctx)
			}
		case do := <-l.asks:
			do()
		case <-ctx.Done():
			return l.drain()
		}
	}
}

// untilMinute is how long it is to the next fixed minute.
func (l *Loop) untilMinute() time.Duration {
	now := l.cfg.Now()
	return l.real(now.Truncate(time.Minute).Add(time.Minute).Sub(now))
}

// real turns a stretch of the loop's time into one a timer can wait for.
func (l *Loop) real(d time.Duration) time.Duration {
	if l.cfg.Speed > 0 {
		d = time.Duration(float64(d) / l.cfg.Speed)
	}
	return max(0, d)
}

// inside runs do in the loop's goroutine.
func (l *Loop) inside(ctx context.Context, do func() error) error {
	done := make(chan error, 1)
	select {
	case l.asks <- func() { done <- do() }:
	case <-l.gone:
		return ErrStopped
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (l *Loop) link(ctx context.Context, link ingest.Link) {
	// What waits comes again on the next connection: it is known again only
	// once it is on disk.
	_ = l.commit(ctx) // a failure has been dealt with
	now := l.now()
	if link.Up {
		if !link.Resumed {
			if l.repeats.forget(link.Sender) { // a new session numbers its packets anew
				l.cfg.Log.Warn("the broker does not know us any more; what it had kept for us is lost, unless probes send it once more")
			}
		}
		l.cfg.Log.Info("broker reached", "session_resumed", link.Resumed)
	} else {
		l.cfg.Log.Warn("broker lost", "trouble", link.Trouble)
	}
	if c := &l.counts; c.since.IsZero() || c.up != link.Up {
		c.up, c.since = link.Up, now
		if !l.outage.on() {
			l.take(farm.Event{Kind: farm.EventLink, Arrived: now, Up: link.Up, Backlog: link.Backlog}, nil)
		}
	}
}

// backlogDone notes that all that the broker had kept for us has come.
func (l *Loop) backlogDone() {
	if l.memory.Arrivals.Waiting() && !l.outage.on() {
		l.take(farm.Event{Kind: farm.EventCaught, Arrived: l.now()}, nil)
	}
}

// tick lets time pass. Only a tick that changes something is journalled.
func (l *Loop) tick(ctx context.Context) {
	switch {
	case l.outage.on():
		return
	case !l.writeEnds(answerTime):
		l.hold()
	case !l.inPlace():
		return
	default:
		l.checkClock(ctx)
		if l.outage.trusted(l.now()) { // an outage is to end on a quiet farm too, where nothing else is written
			l.batch.save, l.batch.urgent = true, true
		}
	}
	l.take(farm.Event{Kind: farm.EventTick, Arrived: l.now().Truncate(time.Minute)}, nil)
}

// now is journal time: it never falls, so that a replay sees the same order.
func (l *Loop) now() time.Time {
	t := l.cfg.Now().UTC().Truncate(time.Millisecond)
	if l.time.keeper != nil {
		t = l.time.keeper.Now()
	}
	if t.After(l.memory.Last) {
		l.memory.Last = t
	}
	return l.memory.Last
}

// take lets an event through the rules and into the batch.
func (l *Loop) take(e farm.Event, d *ingest.Delivery) {
	changes := l.memory.step(e)
	if e.Kind != farm.EventTick || len(changes) > 0 {
		l.batch.add(e, changes, d)
	}
	if len(changes) > 0 {
		l.batch.urgent = true
	}
	if e.Kind == farm.EventJot {
		l.noteStocks()
	}
}

// noteStocks notes of which tubs the stock has changed since that was noted last.
func (l *Loop) noteStocks() {
	was := l.stocks
	l.stocks = l.memory.State.Stocks()
	for _, s := range l.stocks {
		if !slices.Contains(was, s) {
			l.take(farm.Event{Kind: farm.EventStock, Arrived: l.now(), Stock: s}, nil)
		}
	}
}

// drainTime is how long what waits has at the end.
const drainTime = 10 * time.Second

// drain commits what waits at the end, within a time of its own.
func (l *Loop) drain() error {
	ctx, cancel := context.WithTimeout(context.Background(), drainTime)
	defer cancel()
	if l.outage.on() || !l.writeEnds(drainTime) {
		return nil
	}
	l.batch.save = true
	if err := l.commit(ctx); err != nil {
		return fmt.Errorf("commit at the end: %w", err)
	}
	return nil
}
