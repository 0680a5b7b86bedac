// Package notify tells the keeper: it decides who is owed what, and takes what
// is owed to mail, push and webhook so that it arrives once, is understood on
// a phone in a shed, and does not nag.
//
// What a recipient (a teller) hears:
//
//   - a raise or a worsening whose urgency is in its about; raised anew in the
//     same episode only when it is now, or worse than what was told before;
//   - the easing of whatever it was told, and of nothing else;
//   - an episode that was over before it could be told, as one line;
//   - while something is at now, a reminder at its interval, until eased, seen
//     or hushed.
//
// Quiet hours, a hush, and the cap on bundles an hour hold things back; what has
// come to now passes through all of them. Things that arise together go in one
// bundle.
//
// To read, in this order. Who is told: routing.go (pure, and called inside the
// transaction that writes a change, so that what is owed is on disk before
// anybody hears of it). The way out: sender.go, outbox.go (what is owed, on disk
// and in memory), worker.go (one recipient's), plan.go and throttle.go (pure:
// what goes now, and in which bundle), mail.go, smtp.go, push.go and webhook.go
// (the transports). What is said: content.go, item.go, bundle.go, standing.go.
// Beside them: rounds.go, schedule.go, signoflife.go, specimen.go.
//
// It must not write anything but the outbox and its own cursors, judge a bin,
// or let a secret into a log, an error or a notice. Its trouble never reaches
// intake: the sender has its own goroutines and only reads.
package notify

import (
	"cmp"
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"binwatchd/internal/farm"
)

// A Config says who is told, and by what means. It holds secrets: it is never
// printed.
type Config struct {
	Farm     farm.Farm
	File     string // path of the configuration, for the commands in notices; "": they name none
	Address  string // of the keeper's page, for the buttons of mails; "": they have none
	Mail     Mail
	Tellers  []Teller // each with its Key; see [Named]
	Rounds   *RoundsMail
	Life     *Life
	Gather   time.Duration    // how long a thing waits for others that arise with it; 0: 10s
	Log      *slog.Logger     // nil: nothing is logged
	Now      func() time.Time // journal time: of what is owed, and the date of a mail
	CertTime func() time.Time // by which certificates are judged; nil: the wall clock
}

// A Mail is the server through which mails leave: what the keeper says of it, and
// what was read for it.
type Mail struct {
	MailSettings
	Password string         // revealed; stands before the settings' own, which says where it lies
	Roots    *x509.CertPool // nil: the system's
	Patience time.Duration  // how long the server may take over one step; 0: a minute
}

// Security is how a conversation with the mail server is protected.
type Security string

const (
	StartTLS Security = "starttls" // STARTTLS or no mail
	TLS      Security = "tls"      // TLS from the first byte
	Offered  Security = "offered"  // STARTTLS where the server has it
	Plain    Security = "none"     // never
)

// How long a thing waits for others that arise with it, where nothing else is
// asked for, and how long at urgency now.
const (
	UsualGather    = 10 * time.Second
	UsualGatherNow = UsualGather / gatherParts
)

// withDefaults gives the configuration with its defaults filled in.
func (c Config) withDefaults() Config {
	c.Gather = cmp.Or(c.Gather, UsualGather)
	c.Log = cmp.Or(c.Log, slog.New(slog.DiscardHandler))
	c.Farm.Location = cmp.Or(c.Farm.Location, time.UTC)
	return c
}

// A Sender takes what is owed to the tellers. Each teller has a worker of its
// own, so a dead mail server holds up no webhook.
type Sender struct {
	cfg     Config
	src     Sources
	workers []*worker
	rounds  []*roundsWorker
	life    *signOfLife // nil: none
	counts  counts
}

// NewSender makes a sender. The error says which tellers cannot be served and
// why, without their secrets; the sender that comes with it serves the others.
func NewSender(cfg Config, src Sources) (*Sender, error) {
	cfg = cfg.withDefaults()
	s := &Sender{cfg: cfg, src: src, counts: counts{n: map[Count]int64{}}}
	var wrong []error
	for _, t := range cfg.Tellers {
		tr, err := newTransport(cfg, t)
		if err != nil {
			wrong = append(wrong, fmt.Errorf("tell %s: %w", t.Key, err))
			continue
		}
		s.workers = append(s.workers, newWorker(cfg, src, t, tr, &s.counts))
	}
	var err error
	if s.rounds, err = newRoundsWorkers(cfg, src); err != nil {
		wrong = append(wrong, err)
	}
	if s.life, err = newSignOfLife(cfg, src); err != nil {
		wrong = append(wrong, err)
	}
	return s, errors.Join(wrong...)
}

// Run drains the outbox, mails the rounds and gives the sign of life until ctx
// ends. An attempt under way then has a few seconds to end; what is owed stays
// in the outbox.
func (s *Sender) Run(ctx context.Context) {
	var wg sync.WaitGroup
	for _, w := range s.workers {
		wg.Go(func() { w.run(ctx) })
	}
	if s.src.Cursors != nil && s.src.Rounds != nil {
		for _, w := range s.rounds {
			wg.Go(func() { w.run(ctx) })
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

// wake passes the outbox's word on to every worker.
func (s *Sender) wake(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case _, open := <-s.src.Outbox.Wake():
			if !open {
				return
			}
			for _, w := range s.workers {
				w.wake()
			}
		}
	}
}

// FromMemory tells at once of something that cannot be on disk: that the
// journal is not written, and later that it is again. The change is told once,
// and its easing to whoever was told of the raise; a stop in between loses it,
// as it must. It returns without waiting.
func (s *Sender) FromMemory(c farm.Change) {
	for _, w := range s.workers {
		if w.teller.isOwed(c) {
			w.memory.owe(w.teller.Key, c, s.cfg.Now())
			w.wake()
		}
	}
}

// Forget settles as dropped whatever is still owed to tellers that are no
// longer in the configuration.
func (s *Sender) Forget(ctx context.Context, gone []string) error {
	for _, key := range gone {
		if slices.ContainsFunc(s.workers, func(w *worker) bool { return w.teller.Key == key }) {
			continue
		}
		rows, err := s.src.Outbox.Owed(ctx, key, dueOrNot, everything)
		if err == nil && len(rows) > 0 {
			err = s.src.Outbox.Settle(ctx, s.cfg.Now(), farm.Fated{Fate: farm.Dropped, IDs: idsOf(rows)})
		}
		if err != nil {
			return fmt.Errorf("drop what is owed to %s: %w", key, err)
		}
		s.counts.add(key, string(farm.Dropped), len(rows))
	}
	return nil
}

// Recipients tells how the tellers, and those who get the rounds, could last be
// reached, in the order of the configuration.
func (s *Sender) Recipients() []farm.Recipient {
	var out []farm.Recipient
	for _, w := range s.workers {
		out = append(out, w.reach.get())
	}
	for _, w := range s.rounds {
		out = append(out, w.reach.get())
	}
	return out
}

// A Count is how many notices to one teller had one outcome since the program
// began: told, summed, dropped, or failed for an attempt that did not succeed.
type Count struct {
	By      string // key of the teller
	Outcome string
	N       int64
}

// Outcomes are all that a notice may come to.
var Outcomes = []string{string(farm.Told), string(farm.Summed), string(farm.Dropped), failed}

// failed is the outcome of an attempt that did not succeed.
const failed = "failed"

// Counts gives what became of notices, in a fixed order.
func (s *Sender) Counts() []Count {
	s.counts.mu.Lock()
	defer s.counts.mu.Unlock()
	var out []Count
	for c, n := range s.counts.n {
		out = append(out, Count{c.By, c.Outcome, n})
	}
	slices.SortFunc(out, func(a, b Count) int { return cmp.Or(cmp.Compare(a.By, b.By), cmp.Compare(a.Outcome, b.Outcome)) })
	return out
}

// counts are outcomes by teller.
type counts struct {
	mu sync.Mutex
	n  map[Count]int64 // by Count with N zero
}

func (t *counts) add(by, outcome string, n int) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if n > 0 {
		t.n[Count{By: by, Outcome: outcome}] += int64(n)
	}
}
