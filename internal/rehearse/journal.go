package rehearse

import (
	"context"

	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

// A Journal hands out what happened on a farm, in its order.
type Journal interface {
	Replay(ctx context.Context, after int64, fn func(farm.Event) error) error
}

// Journal rehearses the farm's own past: raw numbers are calibrated and
// doubted anew, jots and hushes happen as they did.
func (r *Rehearsal) Journal(ctx context.Context, j Journal) error {
	scales := ingest.NewCalibrator(r.farm)
	return j.Replay(ctx, 0, func(e farm.Event) error {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if !r.wanted(e.Arrived) {
			return nil
		}
		switch e.Kind {
		case farm.EventReading:
			v, ok := scales.Value(e.Reading.Probe, e.Reading.Raw)
			if !ok {
				return nil // this configuration has no such probe
			}
			r.note(e.Arrived)
			e.Reading.Value, e.Reading.Doubt = v, farm.NoDoubt
			r.doubter.Judge(&e.Reading)
		case farm.EventJot:
			r.doubter.Jotted(e.Jot)
		case farm.EventClock:
			r.doubter.Shift(e.Shift, e.From)
		case farm.EventTick: // made anew
			return nil
		}
		r.step(e)
		return nil
	})
}
