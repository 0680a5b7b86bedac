package notify

import (
	"context"
	"fmt"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// deliver carries one letter and notes what came of it; it tells whether the
// next letter may be tried at once.
func (d *desk) deliver(ctx context.Context, l letter) bool {
	told, summed := l.ids()
	ids := slices.Concat(told, summed)
	if d.teller.Kind == ByMail && !l.again {
		if err := d.postpone(ctx, ids, d.cfg.Now(), handedAs(l.id)); err != nil {
			return d.retreat(err.Error(), 0)
		}
	}
	a := d.attempt(ctx, l)
	d.note(a, len(l.matters))
	switch a.verdict {
	case accepted:
		d.arrived(ctx, l, told, summed)
		return true
	case refused:
		wait := max(a.wait, waits.After(tries(l)+1))
		if err := d.postpone(ctx, ids, d.cfg.Now().Add(wait), a.said); err != nil {
			return d.retreat(err.Error(), 0)
		}
		return true
	}
	if d.teller.Kind != ByMail || a.verdict == unreachable && !l.again {
		// Nothing was taken, so the rows are free for another letter. A mail
		// that may have been taken, now or before, keeps its mark.
		if err := d.postpone(ctx, ids, d.cfg.Now(), a.said); err != nil {
			d.log.Warn("outbox not writable", "error", err)
		}
	}
	return d.retreat(a.said, a.wait)
}

// attempt carries a letter within its time. When the program stops meanwhile,
// it gets a little longer: an answer that is on its way is worth having.
func (d *desk) attempt(ctx context.Context, l letter) answer {
	return within(ctx, attempt, grace, func(ctx context.Context) answer {
		return d.carrier.carry(ctx, l, d.cfg.Now())
	})
}

// within runs do with a context that ends after limit, or grace after ctx.
func within[T any](ctx context.Context, limit, grace time.Duration, do func(context.Context) T) T {
	own, cancel := context.WithTimeout(context.WithoutCancel(ctx), limit)
	defer cancel()
	stop := context.AfterFunc(ctx, func() {
		t := time.NewTimer(grace)
		defer t.Stop()
		select {
		case <-t.C:
			cancel()
		case <-own.Done():
		}
	})
	defer stop()
	return do(own)
}

// arrived settles a letter.
func (d *desk) arrived(ctx context.Context, l letter, told, summed []int64) {
	now := d.cfg.Now()
	d.failures, d.waiting = 0, time.Time{}
	d.settle(ctx, told, farm.Told)
	d.settle(ctx, summed, farm.Summed)
	s := sent{at: now}
	for _, m := range l.matters {
		if m.say == stands {
			s.conditions = append(s.conditions, m.last.Change.Condition)
		}
	}
	d.sent = append(slices.DeleteFunc(d.sent, func(s sent) bool { return now.Sub(s.at) >= time.Hour }), s)
}

// retreat leaves the teller alone for a while, longer each time.
func (d *desk) retreat(said string, asked time.Duration) bool {
	d.failures++
	wait := max(asked, waits.After(d.failures))
	d.waiting = d.cfg.Now().Add(wait)
	d.log.Warn("letter not delivered", "said", said, "try_again_in", wait.String(), "failures", d.failures)
	return false
}

func tries(l letter) int {
	n := 0
	for _, m := range l.matters {
		n = max(n, m.last.Tries)
	}
	return n
}

// settle ends rows, or remembers to when the outbox cannot.
func (d *desk) settle(ctx context.Context, ids []int64, fate farm.Fate) {
	if len(ids) == 0 {
		return
	}
	now := d.cfg.Now()
	d.tally.add(d.teller.Key, string(fate), len(ids))
	mem, disk := byHome(ids)
	d.memory.settle(mem, fate, now)
	if len(disk) == 0 {
		return
	}
	d.unnoted = append(d.unnoted, settlement{disk, fate, now})
	d.noteAll(ctx)
}

// noteAll has the outbox note what was settled. Nothing of it is told again in
// the meantime: a letter that was accepted stays accepted whatever the disk
// says. At a stop it has a moment longer than everything else.
func (d *desk) noteAll(ctx context.Context) {
	within(ctx, attempt, grace, func(ctx context.Context) error {
		for len(d.unnoted) > 0 {
			s := d.unnoted[0]
			if err := d.src.Outbox.Settle(ctx, s.ids, s.fate, s.at); err != nil {
				d.log.Warn("outbox not writable", "error", err)
				return err
			}
			d.unnoted = d.unnoted[1:]
		}
		return nil
	})
}

func (d *desk) postpone(ctx context.Context, ids []int64, next time.Time, trouble string) error {
	mem, disk := byHome(ids)
	d.memory.postpone(mem, next, trouble)
	if len(disk) == 0 {
		return nil
	}
	err := within(ctx, attempt, grace, func(ctx context.Context) error {
		return d.src.Outbox.Postpone(ctx, disk, next, trouble)
	})
	if err != nil {
		return fmt.Errorf("postpone: %w", err)
	}
	return nil
}

// note keeps what the desk shows of itself.
func (d *desk) note(a answer, notices int) {
	now := d.cfg.Now()
	d.mu.Lock()
	defer d.mu.Unlock()
	if a.verdict == accepted {
		d.state = Desk{Teller: d.teller.Key, Last: now}
		return
	}
	d.tally.add(d.teller.Key, "failed", notices)
	if d.state.Trouble == "" {
		d.state.Since = now
	}
	d.state.Trouble = a.said
}
