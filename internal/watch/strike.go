package watch

import (
	"context"

	"binwatchd/internal/farm"
	"binwatchd/internal/journal"
)

func isStrike(e farm.Event) bool { return e.Kind == farm.EventStrike }

// strike writes down that lines of the logbook were wrong, and what stands in their
// place, if anything. It is answered when that is on disk; what was learned from the
// lines is unlearned right after, see [Loop.unlearn].
func (l *Loop) strike(ctx context.Context, all []farm.Event) error {
	if err := l.commit(ctx); err != nil { // the line may be among what waits
		return err
	}
	for _, e := range all {
		if err := known(ctx, l.cfg.Journal, e); err != nil {
			return err
		}
	}
	for _, e := range all { // the state holds the lines yet: nothing is judged by it any more
		l.batch.add(happening(e, l.now()), nil, nil)
	}
	if err := l.commit(ctx); err != nil {
		return err
	}
	l.stale = true
	return nil
}

// known refuses to strike what is no line.
func known(ctx context.Context, j *journal.Journal, e farm.Event) error {
	if e.Kind != farm.EventStrike {
		return nil
	}
	_, err := j.Line(ctx, e.Strike.Line)
	return err
}

// unlearn makes the state anew from the last snapshot before the line that was struck
// and what the journal holds since, without the line. What was told goes on as told, and
// nothing is told again; what is otherwise now comes with the next judging.
func (l *Loop) unlearn(ctx context.Context) {
	if !l.stale {
		return
	}
	ctx = context.WithoutCancel(ctx) // half of it is worse than a late stop
	l.stale = false
	began, stocks := l.cfg.Now(), l.stocks
	if err := l.rebuild(ctx); err != nil {
		l.fail(err)
		return
	}
	l.batch.save, l.stocks = true, stocks
	l.noteStocks()
	l.cfg.Log.Info("a line of the logbook was struck, and unlearned", "replayed", l.memory.Replayed, "took", l.cfg.Now().Sub(began))
}
