package notify

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"time"

	"binwatchd/internal/farm"
)

// remind owes the teller a reminder of whatever is still at now, its interval
// after the teller last heard of it.
func (d *desk) remind(ctx context.Context, now time.Time) {
	if d.teller.Remind <= 0 || d.src.Look == nil {
		return
	}
	view, ok := d.src.Look()
	if !ok {
		return
	}
	for _, st := range view.Standing {
		if !nagging(st, now) || !d.teller.minds(st.Bin) || !d.teller.hears(st.Urgency, st.Condition) {
			continue
		}
		if err := d.remindOf(ctx, st, now); err != nil && ctx.Err() == nil {
			d.log.Warn("reminder not owed", "episode", st.Episode, "error", err)
		}
	}
}

func (d *desk) remindOf(ctx context.Context, st farm.Standing, now time.Time) error {
	told, err := d.src.Outbox.ToldOf(ctx, d.teller.Key, st.Episode)
	if err != nil {
		return fmt.Errorf("list what was told: %w", err)
	}
	if open, _ := heard(told); !open {
		return nil
	}
	last := told[len(told)-1]
	if since := now.Sub(last.Next); since >= 0 && since < d.teller.Remind {
		return nil // one that lies ahead was told by a clock that was ahead
	}
	rows, err := d.rows(ctx)
	if err != nil {
		return err
	}
	if slices.ContainsFunc(rows, func(o farm.Owed) bool { return o.Change.Episode == st.Episode }) {
		return nil // something is on its way already
	}
	o := farm.Owed{
		Notice: reminding + hashed(d.teller.Key, st.Episode, strconv.FormatInt(now.UnixMilli(), 10)),
		Teller: d.teller.Key, ChangeID: last.ChangeID, Change: last.Change, Created: now, Next: now,
	}
	if err := d.src.Outbox.Owe(ctx, []farm.Owed{o}); err != nil {
		return fmt.Errorf("owe a reminder: %w", err)
	}
	return nil
}
