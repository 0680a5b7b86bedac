// Package influx copies the journal into an InfluxDB, so that a keeper's own
// graphs have the readings, conditions and jots.
//
// # Strategy
//
// A [Forwarder] reads the journal from a cursor onwards, in journal order, and
// moves the cursor only past what the server has accepted. Nothing is kept in
// between: when the server is away for days, the journal simply grows ahead of
// the cursor, and intake never notices. A point's measurement, tags and time (at
// millisecond precision) follow from the journal alone, and an InfluxDB
// overwrites a point with its equal; so whatever is sent twice, after a lost
// answer or a power cut, is stored once. That is also why the cursor need not
// be saved for every request, which would wear the card as much as the readings
// themselves. While all goes well one request more is on its way than is being
// waited for, so that a backlog drains as fast as the server takes it; the cursor
// still moves in order.
//
// A row that the server cannot take must not hold up those behind it: a refused
// request is cut in halves until the bad rows are alone, and these are parked in
// the journal with the server's reason. A server that refuses everything is
// another matter: then nothing moves and nothing is parked, and the keeper is told
// what to mend.
//
// The HTTP service of InfluxDB's own client carries the requests; the lines are written
// here. The client's write interface knows version 2 alone, and loses the words by which
// bad rows are told from a server in trouble. Its writer of lines takes ten times as long
// as ours (measured by BenchmarkLineOfAReading: 14.6 µs and 20 allocations instead of
// 1.3 µs and none), and has wrong times beyond 2262: the tests hold the lines against it.
//
// # What is written
//
// A point a reading, a point a change of a condition, a point a jot: lines.go has them, and
// docs/metrics.md every tag and field. What is few and known is a tag, what a person wrote is a
// field. A second jot of the same act and instant has a tag of its own, or it would be the same point.
//
// # What it must not do
//
// It judges no reading and keeps no state of its own but the cursor. It never drops a
// reading because the server is away, and its trouble never reaches intake. Only
// cmd calls it.
//
// # Where to read on
//
//	forwarder.go   the loop that follows the journal, and how far it got
//	batch.go       a stretch of the journal as lines; lines.go a line
//	pipeline.go    sends batches, one ahead of the answer, and sorts out bad rows
//	server.go      one request and what its answer means; config.go where it goes, settings.go
//	               its keys in the configuration
//	alerting.go    when the keeper is told, and what to mend
//	resend.go      a range of times once more
package influx

import (
	"context"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"binwatchd/internal/backoff"
	"binwatchd/internal/farm"
)

// cursorName is the name under which the journal keeps how far we got.
const cursorName = "influx"

// A Source hands out the journal.
type Source interface {
	// Forward gives what follows after a place, oldest first, with at most
	// limit events. At the journal's end Last is the after that was asked
	// for, and the rest is empty.
	Forward(ctx context.Context, after int64, limit int) (farm.Stretch, error)
}

// A Journal is what a forwarder needs of the journal: it also remembers how far the
// forwarder got and what it had to leave behind.
type Journal interface {
	Source
	// Cursor gives the place last set under the name, 0 when none was.
	Cursor(ctx context.Context, name string) (int64, error)
	SetCursor(ctx context.Context, name string, to int64) error
	// Park keeps rows that the server refuses, for the keeper to see.
	Park(ctx context.Context, rows []farm.Parked) error
}

// A Forwarder copies the journal to the server as it grows. Make one with
// [New] and call [Forwarder.Run] once.
type Forwarder struct {
	cfg      Config
	lines    linesByFarm
	journal  Journal
	pipeline *pipeline
	alerting alerting
	saved    checkpoint
	held     bool         // waits for better times
	again    atomic.Int64 // place from which all is to be read again; 0: none

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
// the journal: where a probe sat then is where its reading belongs. tell is called
// from Run's goroutine when the keeper should know that the database refuses or has
// been away for long ([farm.Unforwarded]), and when that is over: also once at the
// first success, so that what was raised before a restart is eased. It must not block
// for long; when it gives an error, it is called again at the next occasion.
func New(cfg Config, farmAt func(seq int64) *farm.Farm, j Journal, tell func(farm.Trouble) error) (*Forwarder, error) {
	cfg, err := cfg.complete()
	if err != nil {
		return nil, err
	}
	p := newPipeline(cfg)
	return &Forwarder{
		cfg: cfg, lines: linesByFarm{farmAt: farmAt, measurement: cfg.Measurement}, journal: j, pipeline: p,
		alerting: alerting{server: p.server, tell: tell, patience: cfg.Pace.AwayAfter},
	}, nil
}

// Run forwards until ctx ends, then saves how far it got and returns nil. The
// journal's or the server's trouble never ends it.
func (f *Forwarder) Run(ctx context.Context) error {
	defer f.pipeline.close()
	var from int64
	if !f.untilDone(ctx, "read cursor", func() (err error) {
		from, err = f.journal.Cursor(ctx, cursorName)
		return err
	}) {
		return nil
	}
	f.saved = checkpoint{place: from, at: f.cfg.Now()}
	f.update(func(g *Figures) { g.Reached = from })
	// While one stretch is on its way, the next is read, written as lines and sent.
	batches := make(chan *batch)
	var reading sync.WaitGroup
	reading.Go(func() {
		defer close(batches)
		f.read(ctx, from, batches)
	})
	for b := range batches {
		if !f.bring(ctx, b) || !f.checkpoint(ctx, b) {
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

// untilDone asks something of the journal as often as it takes; it is false when ctx
// ends first.
func (f *Forwarder) untilDone(ctx context.Context, what string, do func() error) bool {
	return f.insist(ctx, func(failures int) answer {
		err := do()
		if err == nil {
			return answer{}
		}
		if failures == 0 {
			f.cfg.Log.Warn("journal does not serve the forwarder", "doing", what, "error", err)
		}
		return answer{verdict: away}
	})
}

// insist tries, after so many failures in a row, until the answer is that it is
// accepted, and waits longer each time; it is false when ctx ends first.
func (f *Forwarder) insist(ctx context.Context, try func(failures int) answer) bool {
	for failures := 0; ; {
		a := try(failures)
		if a.verdict == accepted {
			return true
		}
		failures++
		if !backoff.Pause(ctx, f.cfg.Pace.afterFailures(failures, a)) {
			return false
		}
	}
}

// read hands on what the journal holds after a place, and what comes later.
func (f *Forwarder) read(ctx context.Context, after int64, out chan<- *batch) {
	anew := false
	for {
		if from := f.again.Swap(0); from != 0 && from <= after {
			f.cfg.Log.Warn("times were put right; what bore others is sent again", "events", after-from+1)
			after, anew = from-1, true
		}
		st := farm.Stretch{Last: after}
		if !f.holds() && !f.untilDone(ctx, "read journal", func() (err error) {
			st, err = f.journal.Forward(ctx, after, f.cfg.Pace.Rows)
			return err
		}) {
			return
		}
		if st.Last <= after {
			if !backoff.Pause(ctx, f.cfg.Pace.Every) {
				return
			}
			continue
		}
		b := newBatch(f.lines.at, st, nil)
		b.anew, anew, after = anew, false, b.last
		f.pipeline.sendAhead(ctx, b)
		select {
		case out <- b:
		case <-ctx.Done():
			return
		}
	}
}

// holds tells whether times are still waited for, and says so once.
func (f *Forwarder) holds() bool {
	was := f.held
	f.held = f.cfg.Hold != nil && f.cfg.Hold()
	if f.held && !was {
		f.cfg.Log.Warn("forwarding waits until the clock is set")
	}
	return f.held
}

// bring tries until every row of the batch is with the server or parked; it
// gives up only when ctx ends.
func (f *Forwarder) bring(ctx context.Context, b *batch) bool {
	return f.insist(ctx, func(failures int) answer {
		a := f.pipeline.carry(ctx, b)
		switch {
		case a.verdict == accepted:
			f.succeeded(b, failures)
		case ctx.Err() == nil: // a stop is no failure
			f.failed(a, failures+1)
		}
		return a
	})
}

// succeeded notes that a batch is through. A batch without rows says nothing of
// the server.
func (f *Forwarder) succeeded(b *batch, failures int) {
	if len(b.ends) == 0 {
		return
	}
	f.alerting.well()
	if failures > 0 {
		f.cfg.Log.Info("database takes readings again", "failures", failures)
	}
	now := f.cfg.Now()
	f.update(func(g *Figures) {
		g.Written += int64(len(b.ends) - b.lost)
		g.Parked += int64(b.lost)
		g.At, g.Trouble = now, ""
	})
}

// failed notes a failure; only the first in a row is logged loudly.
func (f *Forwarder) failed(a answer, failures int) {
	level := slog.LevelDebug
	if failures == 1 {
		level = slog.LevelWarn
	}
	f.cfg.Log.Log(context.Background(), level, "database takes no readings",
		"status", a.status, "said", a.said, "failures", failures)
	trouble := f.alerting.unwell(a, f.cfg.Now())
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

// A checkpoint is what the journal knows, as against what the server has. Saving costs a
// commit on the card, and all that an old cursor costs is that a few points are
// sent again after a power cut; so it is saved now and then.
type checkpoint struct {
	place int64
	at    time.Time
	rows  int // brought since
}

// lastSave bounds the saving at a shutdown.
const lastSave = 5 * time.Second

// checkpoint parks what the server refused of a batch and moves the cursor past it.
// Parking is tried until it succeeds; it is false when ctx ends first.
func (f *Forwarder) checkpoint(ctx context.Context, b *batch) bool {
	if len(b.parked) > 0 {
		if !f.untilDone(ctx, "park rows", func() error { return f.journal.Park(ctx, b.parked) }) {
			return false
		}
		p := b.parked[0]
		f.cfg.Log.Warn("database refused rows", "rows", b.lost, "said", p.Reason, "first", p.Line)
	}
	f.update(func(g *Figures) { g.Reached = b.last })
	f.saved.rows += len(b.ends)
	// The cursor goes with what is parked, or the same rows would be parked again,
	// and back at once, lest a power cut forget that it went back.
	due := f.saved.rows >= f.cfg.Pace.SaveRows || f.cfg.Now().Sub(f.saved.at) >= f.cfg.Pace.SaveEvery
	if b.anew || len(b.parked) > 0 || due {
		f.save(ctx)
	}
	return true
}

// save writes the cursor. When it can't, nothing is lost: the old one holds.
func (f *Forwarder) save(ctx context.Context) {
	to := f.Figures().Reached
	if err := f.journal.SetCursor(ctx, cursorName, to); err != nil {
		f.cfg.Log.Warn("cursor not saved", "error", err)
	} else {
		f.saved.place = to
	}
	// Also after a failure: a journal in trouble is not to be pressed.
	f.saved.at, f.saved.rows = f.cfg.Now(), 0
}

func (f *Forwarder) saveAtEnd(ctx context.Context) {
	if f.Figures().Reached == f.saved.place {
		return
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), lastSave)
	defer cancel()
	f.save(ctx)
}
