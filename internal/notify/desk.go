package notify

import (
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"binwatchd/internal/backoff"
	"binwatchd/internal/farm"
)

const (
	lookAgain = time.Minute     // a desk with nothing to do looks again after this: hushes end, reminders fall due
	attempt   = 2 * time.Minute // one letter may take so long
	grace     = 5 * time.Second // an attempt under way at a stop may take so long
)

// waits are those after attempts that failed.
var waits = backoff.Doubling{First: 30 * time.Second, Most: time.Hour}

// A desk serves one teller. What it keeps in memory (waits, the letters of
// the last hour) only softens its pace: the outbox alone says what is owed.
type desk struct {
	cfg     Config
	src     Sources
	teller  Teller
	carrier carrier
	log     *slog.Logger
	tally   *tally
	poked   chan struct{}
	memory  memory

	// Only the desk's own goroutine touches these.
	sent     []sent
	failures int
	waiting  time.Time    // nothing is tried before
	unnoted  []settlement // told, but the outbox could not note it yet

	mu    sync.Mutex
	state Desk
}

// A settlement is a note for the outbox.
type settlement struct {
	ids  []int64
	fate farm.Fate
	at   time.Time
}

func newDesk(cfg Config, src Sources, t Teller, c carrier, n *tally) *desk {
	return &desk{
		cfg: cfg, src: src, teller: t, carrier: c, tally: n,
		log: cfg.Log.With("teller", t.Key), poked: make(chan struct{}, 1),
		state: Desk{Teller: t.Key},
	}
}

func (d *desk) poke() {
	select {
	case d.poked <- struct{}{}:
	default:
	}
}

func (d *desk) run(ctx context.Context) {
	for ctx.Err() == nil {
		timer := time.NewTimer(d.turn(ctx))
		select {
		case <-ctx.Done():
		case <-d.poked:
		case <-timer.C:
		}
		timer.Stop()
	}
}

// turn does what is to do now and says how long nothing more is.
func (d *desk) turn(ctx context.Context) time.Duration {
	now := d.cfg.Now()
	d.forgetFuture(now)
	if wait := d.waiting.Sub(now); wait > 0 {
		return wait
	}
	d.noteAll(ctx)
	d.remind(ctx, now)
	c, err := d.look(ctx, now)
	if err != nil && ctx.Err() == nil {
		d.log.Warn("outbox not readable", "error", err)
	}
	p := decide(c)
	d.settle(ctx, p.needless, farm.Dropped)
	for _, l := range p.letters {
		if ctx.Err() != nil {
			return 0
		}
		if !d.deliver(ctx, l) {
			return d.waiting.Sub(d.cfg.Now())
		}
	}
	switch {
	case len(p.letters) > 0:
		return 0 // look again: more may have come
	case !p.next.IsZero():
		return max(time.Millisecond, min(p.next.Sub(now), lookAgain))
	}
	return lookAgain
}

// forgetFuture drops what was noted while the clock was ahead: a clock that is
// put back must not hold up letters until it is there again.
func (d *desk) forgetFuture(now time.Time) {
	if d.waiting.Sub(now) > waits.Most {
		d.waiting = time.Time{}
	}
	d.sent = slices.DeleteFunc(d.sent, func(s sent) bool { return s.at.After(now) })
}

// look gathers what decide needs.
func (d *desk) look(ctx context.Context, now time.Time) (deskCase, error) {
	c := deskCase{
		teller: d.teller, now: now, sent: d.sent, cap: cmp.Or(d.teller.PerHour, d.cfg.CapPerHour), gather: d.cfg.Gather,
		loc: d.cfg.Farm.Location, told: map[string][]farm.Owed{},
	}
	if d.src.Look != nil {
		c.view, c.known = d.src.Look()
	}
	c.owed = d.memory.owed()
	if d.src.Look != nil && !c.known {
		return c, nil // what is hushed is not known yet
	}
	rows, err := d.rows(ctx)
	c.owed = append(c.owed, rows...)
	for _, o := range c.owed {
		e := o.Change.Episode
		if _, done := c.told[e]; done {
			continue
		}
		if c.told[e], err = d.toldOf(ctx, e); err != nil {
			c.owed = d.memory.owed()
			return c, err
		}
	}
	return c, err
}

// rows lists what the journal owes this teller, without what was told already
// and could not be noted.
func (d *desk) rows(ctx context.Context) ([]farm.Owed, error) {
	rows, err := d.src.Outbox.Owed(ctx, d.teller.Key, dueOrNot, everything)
	if err != nil {
		return nil, fmt.Errorf("list what is owed: %w", err)
	}
	return slices.DeleteFunc(rows, func(o farm.Owed) bool {
		return slices.ContainsFunc(d.unnoted, func(s settlement) bool { return slices.Contains(s.ids, o.ID) })
	}), nil
}

func (d *desk) toldOf(ctx context.Context, episode string) ([]farm.Owed, error) {
	mem := d.memory.toldOf(episode)
	if len(mem) > 0 {
		return mem, nil // an episode is told of from memory, or from disk, never both
	}
	told, err := d.src.Outbox.ToldOf(ctx, d.teller.Key, episode)
	if err != nil {
		return nil, fmt.Errorf("list what was told: %w", err)
	}
	return told, nil
}

// standing says how the teller can be reached.
func (d *desk) standing() Desk {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.state
}
