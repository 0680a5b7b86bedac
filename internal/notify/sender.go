package notify

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"binwatchd/internal/farm"
)

// A Sender takes what is owed to the tellers. Each teller has a desk of its
// own, so a dead mail server holds up no webhook.
type Sender struct {
	cfg    Config
	src    Sources
	desks  []*desk
	rounds []*roundsDesk
	life   *lifeSign // nil: none
	tally  tally
}

// NewSender makes a sender. The error says which tellers cannot be served and
// why, without their secrets; the sender that comes with it serves the others.
func NewSender(cfg Config, src Sources) (*Sender, error) {
	cfg = cfg.settled()
	s := &Sender{cfg: cfg, src: src}
	var wrong []error
	for _, t := range cfg.Tellers {
		c, err := newCarrier(cfg, src, t)
		if err != nil {
			wrong = append(wrong, fmt.Errorf("tell %s: %w", t.Key, err))
			continue
		}
		s.desks = append(s.desks, newDesk(cfg, src, t, c, &s.tally))
	}
	var err error
	if s.rounds, err = newRoundsDesks(cfg, src); err != nil {
		wrong = append(wrong, err)
	}
	if s.life, err = newLifeSign(cfg, src); err != nil {
		wrong = append(wrong, err)
	}
	return s, errors.Join(wrong...)
}

// Run drains the outbox, mails the rounds and gives the sign of life until ctx
// ends. An attempt under way then has a few seconds to end; what is owed stays
// in the outbox.
func (s *Sender) Run(ctx context.Context) {
	var wg sync.WaitGroup
	for _, d := range s.desks {
		wg.Go(func() { d.run(ctx) })
	}
	if s.src.Cursors != nil && s.src.Rounds != nil {
		for _, d := range s.rounds {
			wg.Go(func() { d.run(ctx) })
		}
	}
	if s.life != nil {
		wg.Go(func() { s.life.run(ctx) })
	}
	if s.src.Outbox != nil {
		wg.Go(func() { s.wake(ctx) })
	}
	wg.Wait()
}

// wake passes the outbox's word on to every desk.
func (s *Sender) wake(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case _, open := <-s.src.Outbox.Wake():
			if !open {
				return
			}
			for _, d := range s.desks {
				d.poke()
			}
		}
	}
}

// FromMemory tells at once of something that cannot be on disk: that the
// journal is not written, and later that it is again. The change is told once,
// and its easing to whoever was told of the raise; a stop in between loses it,
// as it must. It returns without waiting.
func (s *Sender) FromMemory(c farm.Change) {
	for _, d := range s.desks {
		if d.teller.minds(c.Bin) && (!news(c) || d.teller.hears(c.Urgency, c.Condition)) {
			d.memory.owe(d.teller.Key, c, s.cfg.Now())
			d.poke()
		}
	}
}

// Forget settles as dropped whatever is still owed to tellers that are no
// longer in the configuration.
func (s *Sender) Forget(ctx context.Context, gone []string) error {
	for _, key := range gone {
		if slices.ContainsFunc(s.desks, func(d *desk) bool { return d.teller.Key == key }) {
			continue
		}
		now := s.cfg.Now()
		rows, err := s.src.Outbox.Owed(ctx, key, dueOrNot, everything)
		if err != nil {
			return fmt.Errorf("list what is owed to %s: %w", key, err)
		}
		if len(rows) == 0 {
			continue
		}
		if err := s.src.Outbox.Settle(ctx, idsOf(rows), farm.Dropped, now); err != nil {
			return fmt.Errorf("drop what is owed to %s: %w", key, err)
		}
		s.tally.add(key, string(farm.Dropped), len(rows))
	}
	return nil
}

// A Count is how many notices to one teller had one outcome since the program
// began: told, summed, dropped, or failed for an attempt that did not succeed.
type Count struct {
	By      string // key of the teller
	Outcome string
	N       int64
}

// Counts gives what became of notices, in a fixed order.
func (s *Sender) Counts() []Count { return s.tally.list() }

// A Desk says how one teller can be reached.
type Desk struct {
	Teller  string    `json:"teller"`
	Trouble string    `json:"trouble,omitempty"` // of the last attempt; "" when it went well
	Since   time.Time `json:"since,omitzero"`    // of the trouble
	Last    time.Time `json:"last,omitzero"`     // the last letter that was accepted since the program began
}

// Desks tells how the tellers can be reached, in the order of the
// configuration.
func (s *Sender) Desks() []Desk {
	out := make([]Desk, 0, len(s.desks))
	for _, d := range s.desks {
		out = append(out, d.standing())
	}
	return out
}

// A tally counts outcomes by teller.
type tally struct {
	mu sync.Mutex
	n  map[Count]int64 // by Count with N zero
}

func (t *tally) add(by, outcome string, n int) {
	if n == 0 {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.n == nil {
		t.n = map[Count]int64{}
	}
	t.n[Count{By: by, Outcome: outcome}] += int64(n)
}

func (t *tally) list() []Count {
	t.mu.Lock()
	defer t.mu.Unlock()
	out := make([]Count, 0, len(t.n))
	for c, n := range t.n {
		c.N = n
		out = append(out, c)
	}
	slices.SortFunc(out, func(a, b Count) int {
		return cmp.Or(cmp.Compare(a.By, b.By), cmp.Compare(a.Outcome, b.Outcome))
	})
	return out
}
