package notify

import (
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strconv"
	"sync"
	"time"

	"binwatchd/internal/backoff"
	"binwatchd/internal/farm"
)

const (
	lookAgain = time.Minute     // a worker with nothing to do looks again after this: hushes end, reminders fall due
	attempt   = 2 * time.Minute // one bundle may take so long
	grace     = 5 * time.Second // an attempt under way at a stop may take so long
)

// waits are those after attempts that failed.
var waits = backoff.Doubling{First: 30 * time.Second, Most: time.Hour}

// A transport hands one bundle, put into words by a writer, to one teller's server.
type transport interface {
	send(ctx context.Context, b bundle, w writer) reply
}

// outcome is what came of handing a bundle over.
type outcome uint8

const (
	accepted    outcome = iota
	refused             // this bundle is not taken; another may be
	unreachable         // nothing was taken, and nothing else would be
	unanswered          // it may have been taken: the reply got lost
)

// A reply is what a teller's server said to a bundle.
type reply struct {
	outcome outcome
	said    string        // fit to be shown: no secret in it
	wait    time.Duration // the server asked to be left alone for so long; 0: it did not
}

// Check tells why a teller can't be served, without asking its server anything.
// The error holds nothing secret.
func Check(cfg Config, t Teller) error {
	_, err := newTransport(cfg.withDefaults(), t)
	return err
}

func newTransport(cfg Config, t Teller) (transport, error) {
	switch t.Kind {
	case ByMail:
		m, err := newMailer(cfg, t.Mail)
		if err == nil {
			m.who = t.Who
		}
		return m, err
	case ByPush:
		return newPusher(t)
	case ByWebhook:
		return newWebhook(cfg, t)
	}
	return nil, fmt.Errorf("no such way to tell: %q", t.Kind)
}

// A worker serves one teller. What it keeps in memory (waits, the bundles of
// the last hour) only softens its pace: the outbox alone says what is owed, and what was told.
type worker struct {
	cfg       Config
	src       Sources
	teller    Teller
	transport transport
	log       *slog.Logger
	counts    *counts
	woken     chan struct{}
	memory    memory // what is owed beside the outbox

	// Only the worker's own goroutine touches these.
	unnoted  []checkpoint // settled, but the outbox could not note it yet
	sent     []sent
	recalled bool // sent holds what was told before the program began, too
	failures int
	waiting  time.Time // nothing is tried before

	reach reach
}

func newWorker(cfg Config, src Sources, t Teller, tr transport, n *counts) *worker {
	return &worker{
		cfg: cfg, src: src, teller: t, transport: tr, counts: n, log: cfg.Log.With("teller", t.Key), woken: make(chan struct{}, 1),
		reach: reach{state: farm.Recipient{By: string(t.Kind), Place: t.Place, Address: t.Mail}},
	}
}

func (w *worker) wake() {
	select {
	case w.woken <- struct{}{}:
	default:
	}
}

func (w *worker) run(ctx context.Context) {
	for ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case <-w.woken:
		case <-time.After(w.turn(ctx)):
		}
	}
}

// turn does what is to do now and says how long nothing more is.
func (w *worker) turn(ctx context.Context) time.Duration {
	now := w.cfg.Now()
	w.forgetFuture(now)
	if wait := w.waiting.Sub(now); wait > 0 {
		return wait
	}
	w.note(ctx)
	s := w.situation(now)
	if err := w.recall(ctx, &s); err != nil && ctx.Err() == nil {
		w.log.Warn("outbox not readable", "error", err)
	}
	w.remind(ctx, s)
	if err := w.gather(ctx, &s); err != nil && ctx.Err() == nil {
		w.log.Warn("outbox not readable", "error", err)
	}
	p := decide(s)
	w.settle(ctx, now, farm.Fated{Fate: farm.Dropped, IDs: p.needless}, farm.Fated{Fate: farm.Summed, IDs: p.along})
	delivered := 0
	for _, b := range p.bundles {
		if ctx.Err() != nil {
			return 0
		}
		if len(w.unnoted) > 0 && b.canWait() {
			continue
		}
		if !w.deliver(ctx, b) {
			return w.waiting.Sub(w.cfg.Now())
		}
		delivered++
	}
	switch {
	case delivered > 0:
		return 0 // look again: more may have come
	case len(p.bundles) > 0:
		return waits.After(1) // until the outbox can be written
	case !p.next.IsZero():
		return max(time.Millisecond, min(p.next.Sub(now), lookAgain))
	}
	return lookAgain
}

// forgetFuture drops what was noted while the clock was ahead: a clock that is
// put back must not hold up bundles until it is there again.
func (w *worker) forgetFuture(now time.Time) {
	if w.waiting.Sub(now) > waits.Most {
		w.waiting = time.Time{}
	}
	w.sent = slices.DeleteFunc(w.sent, func(s sent) bool { return s.at.After(now) })
}

// situation is all that decide needs but what is owed.
func (w *worker) situation(now time.Time) situation {
	s := situation{
		teller: w.teller, now: now, sent: w.sent, cap: cmp.Or(w.teller.PerHour, usualPerHour), gather: w.cfg.Gather,
		loc: w.cfg.Farm.Location, farm: &w.cfg.Farm, told: map[string][]farm.Owed{},
	}
	if w.src.Look != nil {
		s.view, s.known = w.src.Look()
	}
	return s
}

// recall makes the bundles of the last hour of what the outbox says was told, once, so that a
// restart does not begin the pace anew.
func (w *worker) recall(ctx context.Context, s *situation) error {
	if w.recalled || w.src.Outbox == nil {
		return nil
	}
	rows, err := w.src.Outbox.ToldSince(ctx, w.teller.Key, s.now.Add(-time.Hour))
	if err != nil {
		return fmt.Errorf("list what was told of late: %w", err)
	}
	for _, o := range rows {
		if n := len(w.sent); n == 0 || !w.sent[n-1].at.Equal(o.Next) {
			w.sent = append(w.sent, sent{at: o.Next, written: o.Next.Add(-attempt)})
		}
		if b := &w.sent[len(w.sent)-1]; o.Change.Change != farm.Eased && !o.Reminder {
			name, _ := s.matter(o.Change)
			b.news = append(b.news, broughtUp{name, news(o.Change) && o.Change.Urgency == farm.Now})
		}
	}
	w.recalled = true
	w.forgetFuture(s.now)
	s.sent = w.sent
	return nil
}

// gather adds what is owed, and what was told of the same episodes.
func (w *worker) gather(ctx context.Context, s *situation) error {
	s.owed = w.memory.owed()
	if w.src.Look != nil && !s.known {
		return nil // what is hushed is not known yet
	}
	rows, err := w.journalled(ctx)
	s.owed = append(s.owed, rows...)
	for _, episode := range w.concerned(s) {
		if s.told[episode], err = w.toldOf(ctx, episode); err != nil {
			s.owed = w.memory.owed()
			return err
		}
	}
	return err
}

// concerned lists the episodes that are owed, and those that are raised and may share a cause
// with them.
func (w *worker) concerned(s *situation) (episodes []string) {
	matters := map[string]bool{}
	for _, o := range s.owed {
		name, shared := s.matter(o.Change)
		matters[name] = shared
		episodes = append(episodes, o.Change.Episode)
	}
	for _, st := range s.view.Standing {
		if name, _ := s.matter(farm.Change{Bin: st.Bin, Zone: st.Zone, Condition: st.Condition}); matters[name] {
			episodes = append(episodes, st.Episode)
		}
	}
	return distinct(episodes)
}

// remind owes the teller a reminder of whatever is still at now, its interval
// after the teller last heard of it, and once of what somebody has looked after in vain.
// When one of a cause is due, the others of that cause go along that would come within
// half an interval: one letter reminds of all.
func (w *worker) remind(ctx context.Context, s situation) {
	due := map[string]bool{} // causes
	for _, after := range []time.Duration{w.teller.Remind, w.teller.Remind / 2} {
		for _, st := range s.view.Standing {
			matter, shared := s.matter(farm.Change{Bin: st.Bin, Zone: st.Zone, Probe: st.Probe, Condition: st.Condition})
			again := w.teller.Remind > 0 && nagging(st, s.now) && (after == w.teller.Remind || due[matter])
			if !again && !st.Back(s.now) || !w.teller.minds(st.Bin, st.Probe) || !w.teller.hears(st.Urgency, st.Condition) {
				continue
			}
			owed, err := w.remindOf(ctx, st, again, s.now, after)
			if err != nil && ctx.Err() == nil {
				w.log.Warn("reminder not owed", "episode", st.Episode, "error", err)
			}
			due[matter] = due[matter] || owed && shared && w.teller.Kind != ByWebhook
		}
	}
}

// remindOf owes a reminder of what stands: again, where the teller last heard of it so long ago,
// or since nobody looks after it any more.
func (w *worker) remindOf(ctx context.Context, st farm.Standing, again bool, now time.Time, after time.Duration) (owed bool, err error) {
	episode := st.Episode
	told, err := w.toldOnDisk(ctx, episode)
	if open, _ := heard(told); !open {
		return false, err
	}
	last := told[len(told)-1]
	since := now.Sub(last.Next) // one that lies ahead was told by a clock that was ahead
	again = again && (since < 0 || since >= after)
	if back := st.Back(now) && last.Next.Before(*st.Taken); !again && !back {
		return false, nil
	}
	rows, err := w.journalled(ctx)
	if err != nil || slices.ContainsFunc(rows, func(o farm.Owed) bool { return o.Change.Episode == episode }) {
		return false, err // something is on its way already
	}
	err = wrapped("owe a reminder", w.src.Outbox.Owe(ctx, []farm.Owed{{
		Notice: "remind-" + hashed(w.teller.Key, episode, strconv.FormatInt(now.UnixMilli(), 10)),
		Teller: w.teller.Key, ChangeID: last.ChangeID, Change: last.Change, Reminder: true, Created: now, Next: now,
	}}))
	return err == nil, err
}

// deliver sends one bundle and notes what came of it; it tells whether the
// next bundle may be tried at once.
func (w *worker) deliver(ctx context.Context, b bundle) bool {
	told, summed := b.ids()
	ids := slices.Concat(told, summed)
	if w.teller.Kind == ByMail && !b.again {
		if err := w.handOver(ctx, ids, b.id); err != nil {
			return w.retreat(err.Error(), 0)
		}
	}
	written := w.cfg.Now()
	r := within(ctx, func(ctx context.Context) reply { return w.transport.send(ctx, b, newWriter(w.cfg, w.src, written)) })
	w.reach.note(r, w.cfg.Now())
	if r.outcome == accepted {
		w.arrived(ctx, b, written, told, summed)
		return true
	}
	w.counts.add(w.teller.Key, failed, len(b.items))
	next := w.cfg.Now()
	if r.outcome == refused {
		next = next.Add(max(r.wait, waits.After(b.tries()+1)))
	}
	if r.outcome == refused || w.teller.Kind != ByMail || r.outcome == unreachable && !b.again {
		// Nothing was taken, so the rows are free for another bundle. A mail
		// that may have been taken, now or before, stays handed over.
		if err := w.postpone(ctx, ids, next, r.said); err != nil {
			return w.retreat(r.said+"; "+err.Error(), r.wait)
		}
	}
	return r.outcome == refused || w.retreat(r.said, r.wait)
}

// within runs do with a context that ends after the time of an attempt, or a
// grace after ctx: an answer that is on its way at a stop is worth having.
func within[T any](ctx context.Context, do func(context.Context) T) T {
	own, cancel := context.WithTimeout(context.WithoutCancel(ctx), attempt)
	defer cancel()
	stop := context.AfterFunc(ctx, func() {
		if backoff.Pause(own, grace) {
			cancel()
		}
	})
	defer stop()
	return do(own)
}

// arrived settles a bundle that was accepted.
func (w *worker) arrived(ctx context.Context, b bundle, written time.Time, told, summed []int64) {
	now := w.cfg.Now().Truncate(time.Millisecond) // as the outbox keeps it
	w.failures, w.waiting = 0, time.Time{}
	w.settle(ctx, now, farm.Fated{Fate: farm.Told, IDs: told}, farm.Fated{Fate: farm.Summed, IDs: summed})
	s := sent{at: now, written: written}
	for _, it := range b.items {
		if it.say == stands || it.say == lighter {
			s.news = append(s.news, it.news)
		}
	}
	w.sent = append(slices.DeleteFunc(w.sent, func(s sent) bool { return now.Sub(s.at) >= time.Hour }), s)
}

// retreat leaves the teller alone for a while, longer each time.
func (w *worker) retreat(said string, asked time.Duration) bool {
	w.failures++
	wait := max(asked, waits.After(w.failures))
	w.waiting = w.cfg.Now().Add(wait)
	w.log.Warn("notices not delivered", "said", said, "try_again_in", wait.String(), "failures", w.failures)
	return false
}

// A reach is how one recipient could last be reached. It may be read while it is
// noted.
type reach struct {
	mu    sync.Mutex
	state farm.Recipient
}

func (r *reach) note(said reply, now time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if said.outcome == accepted {
		r.state.Trouble, r.state.Since, r.state.Last = "", time.Time{}, now
		return
	}
	if r.state.Trouble == "" {
		r.state.Since = now
	}
	r.state.Trouble = cmp.Or(said.said, "no answer")
}

func (r *reach) get() farm.Recipient {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.state
}
