package influx

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"binwatchd/internal/farm"
)

// cursorName is the name under which the ledger keeps how far we got.
const cursorName = "influx"

// A Journal is what a forwarder needs of the journal.
type Journal interface {
	Source
	Ledger
}

// A Forwarder copies the journal to the server as it grows. Make one with
// [New] and call [Forwarder.Run] once.
type Forwarder struct {
	cfg     Config
	lines   edition
	journal Journal
	carrier *carrier
	mood    mood
	saved   saved
	log     *slog.Logger
	held    bool         // waits for better times
	again   atomic.Int64 // place from which all is to be read again; 0: none

	mu      sync.Mutex // guards figures
	figures Figures
}

// Figures tell how forwarding stands, for the page and the metrics. Counts
// begin with the daemon.
type Figures struct {
	Reached int64     // the place in the journal up to which the server has everything
	Written int64     // rows accepted
	Parked  int64     // rows refused and put aside
	Failed  int64     // requests that brought nothing, a broken answer or a refusal
	At      time.Time // of the newest success; zero before
	Trouble string    // why nothing moves now; "" when it does
}

// New prepares a forwarder of a farm's journal; nothing is sent and nothing
// read yet. farmAt gives the farm under which an event was noted, by its place in
// the journal: where a probe sat then is where its reading belongs. tell is called from Run's goroutine when the keeper should know that
// the database refuses or has been away for long ([farm.Unforwarded]), and when that
// is over: also once at the first success, so that what was raised before a
// restart is eased. It must not block for long; when it gives an error, it is called
// again at the next occasion.
func New(cfg Config, farmAt func(seq int64) *farm.Farm, j Journal, tell func(farm.Trouble) error) (*Forwarder, error) {
	cfg, err := cfg.complete()
	if err != nil {
		return nil, err
	}
	c := newCarrier(cfg)
	return &Forwarder{
		cfg: cfg, lines: edition{farmAt: farmAt}, journal: j, carrier: c, log: cfg.Log,
		mood: mood{server: c.server, tell: tell, patience: cfg.Pace.AwayAfter},
	}, nil
}

// Run forwards until ctx ends, then saves how far it got and returns nil. The
// journal's or the server's trouble never ends it.
func (f *Forwarder) Run(ctx context.Context) error {
	defer f.carrier.close()
	from, ok := f.begin(ctx)
	if !ok {
		return nil
	}
	// While one stretch is on its way, the next is read, written as lines and sent.
	loads := make(chan *consignment)
	var reading sync.WaitGroup
	reading.Go(func() {
		defer close(loads)
		f.read(ctx, from, loads)
	})
	for load := range loads {
		if !f.bring(ctx, load) || !f.settle(ctx, load) {
			break
		}
	}
	reading.Wait()
	f.saveAtEnd(ctx)
	return nil
}

// Again has all from a place on sent again, since it bears other times now. The
// points under the old times stay where they are. It does not wait, and may be
// called from any goroutine.
func (f *Forwarder) Again(from int64) {
	for {
		was := f.again.Load()
		if was != 0 && was <= from || f.again.CompareAndSwap(was, from) {
			return
		}
	}
}

// Figures gives how forwarding stands now.
func (f *Forwarder) Figures() Figures {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.figures
}

// begin asks the ledger where to go on, as often as it takes.
func (f *Forwarder) begin(ctx context.Context) (from int64, ok bool) {
	for n := 0; ; n++ {
		from, err := f.journal.Cursor(ctx, cursorName)
		if err == nil {
			f.saved = saved{place: from, at: f.cfg.Now()}
			f.update(func(g *Figures) { g.Reached = from })
			return from, true
		}
		f.journalTrouble("read cursor", n, err)
		if !pause(ctx, f.cfg.Pace.backoff(n, answer{})) {
			return 0, false
		}
	}
}

// read hands on what the journal holds after a place, and what comes later.
func (f *Forwarder) read(ctx context.Context, after int64, out chan<- *consignment) {
	anew := false
	for failures := 0; ; {
		if from := f.again.Swap(0); from != 0 && from <= after {
			f.log.Warn("times were put right; what bore others is sent again", "events", after-from+1)
			after, anew = from-1, true
		}
		load, wait, err := f.pick(ctx, after)
		if err != nil {
			f.journalTrouble("read journal", failures, err)
			wait = f.cfg.Pace.backoff(failures, answer{})
			failures++
		}
		if load == nil {
			if !pause(ctx, wait) {
				return
			}
			continue
		}
		load.anew, anew = anew, false
		failures, after = 0, load.last
		f.carrier.ahead(ctx, load)
		select {
		case out <- load:
		case <-ctx.Done():
			return
		}
	}
}

// pick reads the next stretch; there is none when the load is nil, and then
// it is time to wait.
func (f *Forwarder) pick(ctx context.Context, after int64) (load *consignment, wait time.Duration, err error) {
	if f.holds() {
		return nil, f.cfg.Pace.Every, nil
	}
	st, err := f.journal.Forward(ctx, after, f.cfg.Pace.Rows)
	if err != nil {
		return nil, 0, fmt.Errorf("read journal after %d: %w", after, err)
	}
	if st.Last <= after {
		return nil, f.cfg.Pace.Every, nil
	}
	return consign(f.lines.at, st, nil), 0, nil
}

// holds tells whether times are still waited for, and says so once.
func (f *Forwarder) holds() bool {
	was := f.held
	f.held = f.cfg.Hold != nil && f.cfg.Hold()
	if f.held && !was {
		f.log.Warn("forwarding waits until the clock is set")
	}
	return f.held
}

// bring tries until every row of the load is with the server or parked; it
// gives up only when ctx ends.
func (f *Forwarder) bring(ctx context.Context, load *consignment) bool {
	for n := 0; ; n++ {
		a := f.carrier.carry(ctx, load)
		if ctx.Err() != nil {
			return false
		}
		if a.verdict == accepted {
			f.succeeded(load, n)
			return true
		}
		f.failed(a, n)
		if !pause(ctx, f.cfg.Pace.backoff(n, a)) {
			return false
		}
	}
}

// succeeded notes that a load is through. A load without rows says nothing of
// the server.
func (f *Forwarder) succeeded(load *consignment, failures int) {
	if len(load.ends) == 0 {
		return
	}
	f.mood.well()
	if failures > 0 {
		f.log.Info("database takes readings again", "failures", failures)
	}
	now := f.cfg.Now()
	f.update(func(g *Figures) {
		g.Written += int64(len(load.ends) - load.lost)
		g.Parked += int64(load.lost)
		g.At, g.Trouble = now, ""
	})
}

// failed notes a failure; only the first in a row is logged loudly.
func (f *Forwarder) failed(a answer, n int) {
	level := slog.LevelDebug
	if n == 0 {
		level = slog.LevelWarn
	}
	f.log.Log(context.Background(), level, "database takes no readings", "status", a.status, "said", a.said, "failures", n+1)
	trouble := f.mood.unwell(a, f.cfg.Now())
	f.update(func(g *Figures) {
		g.Failed++
		g.Trouble = trouble
	})
}

func (f *Forwarder) update(change func(*Figures)) {
	f.mu.Lock()
	defer f.mu.Unlock()
	change(&f.figures)
}

func (f *Forwarder) journalTrouble(doing string, n int, err error) {
	if n == 0 {
		f.log.Warn("journal does not serve the forwarder", "doing", doing, "error", err)
	}
}

// pause waits; it is false when ctx ends first.
func pause(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}
