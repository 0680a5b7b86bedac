package watch

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"slices"
	"time"

	"binwatchd/internal/farm"
)

// ErrStopped is what asking a loop that has ended gives.
var ErrStopped = errors.New("the daemon is stopping")

// ErrUnwritten is what writing gives while the journal can't be written.
var ErrUnwritten = errors.New("the journal can't be written at present; nothing was noted")

// Look gives how the farm stands now.
func (l *Loop) Look(ctx context.Context) (farm.View, error) {
	var v farm.View
	err := l.inside(ctx, func() error {
		v = l.memory.State.Look(l.now())
		// What only the running loop knows:
		v.Intake = farm.IntakeView{Running: true, Connected: l.counts.up, Since: l.counts.since, Messages: maps.Clone(l.counts.messages), Delays: l.counts.delays}
		if since := l.outage.since; l.outage.on() {
			v.Intake.Unwritten, v.Intake.Why = &since, l.outage.why
		}
		for i := range v.Probes {
			p := &v.Probes[i]
			p.Counts, p.Rejected = maps.Clone(l.counts.readings[p.ID]), maps.Clone(l.counts.rejected[p.ID])
		}
		return nil
	})
	return v, err
}

// Act lets jots, a hush or a seen happen now, and returns once they are on disk, all of
// them or none. What the journal has already of a form is a [*farm.Already].
func (l *Loop) Act(ctx context.Context, all ...farm.Event) error {
	return l.inside(ctx, func() error {
		if l.outage.on() {
			return ErrUnwritten
		}
		if err := l.already(ctx, all); err != nil {
			return err
		}
		if slices.ContainsFunc(all, isStrike) {
			return l.strike(ctx, all)
		}
		for _, e := range all {
			l.take(happening(e, l.now()), nil)
		}
		return l.commit(ctx)
	})
}

// already refuses what stands in the journal. Nothing can come between this look and the
// write, for the loop is the one that writes.
func (l *Loop) already(ctx context.Context, all []farm.Event) error {
	for _, e := range all {
		if e.Once == "" && e.Since == 0 {
			continue
		}
		if err := l.commit(ctx); err != nil { // it may be among what waits
			return err
		}
		if stands, err := l.cfg.Journal.Already(ctx, e); err != nil || stands != nil {
			return cmp.Or[error](err, stands)
		}
	}
	return nil
}

// happening is what a keeper wants to happen as it does at a time.
func happening(e farm.Event, at time.Time) farm.Event {
	e.Arrived = at
	switch {
	case e.Kind == farm.EventHush && e.Hush.Until.IsZero():
		e.Hush.Until, e.Hush.For = at.Add(e.Hush.For), 0
	case e.Kind == farm.EventJot && e.Jot.At.IsZero():
		e.Jot.At = at
	}
	return e
}

// Reload puts another configuration in force. What is raised stays raised;
// what is no longer watched is eased. After an error the one before is in
// force.
func (l *Loop) Reload(ctx context.Context, f *farm.Farm, digest string) error {
	return l.inside(ctx, func() error {
		if l.outage.on() {
			return ErrUnwritten
		}
		ctx := context.WithoutCancel(ctx) // half a reload is worse than a late one
		if err := l.commit(ctx); err != nil {
			return err
		}
		before, beforeDigest := l.cfg.Farm, l.cfg.Digest
		l.cfg.Farm, l.cfg.Digest = f, digest
		err := l.anew(ctx)
		if err != nil {
			l.cfg.Farm, l.cfg.Digest = before, beforeDigest
			l.fail(err)
		}
		return err
	})
}

// anew begins anew with what is on disk while the link stands.
func (l *Loop) anew(ctx context.Context) error {
	up, backlog := l.memory.Arrivals.Link()
	err := l.resume(ctx)
	if err == nil && up { // it has stood all the time, though watching began anew
		l.take(farm.Event{Kind: farm.EventLink, Arrived: l.now(), Up: true, Backlog: backlog}, nil)
	}
	return err
}

// Alive returns when the loop has answered and the write then under way has ended, so
// that one that hangs is noticed; the loop goes on meanwhile. A disk of which the
// keeper was told is waited for: beginning anew makes no disk answer, and who has
// begun anew can't tell that it answers again.
func (l *Loop) Alive(ctx context.Context) error {
	var idle <-chan struct{}
	if err := l.inside(ctx, func() error {
		if l.written != nil && !(l.outage.on() && l.now().Sub(l.sent) < longestHold) {
			idle = l.idle
		}
		return nil
	}); err != nil || idle == nil {
		return err
	}
	select {
	case <-idle:
		return nil
	case <-ctx.Done():
		return errHeldUp
	}
}
