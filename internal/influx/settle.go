package influx

import (
	"context"
	"time"
)

// saved is what the ledger knows, as against what the server has. Saving costs a
// commit on the card, and all that an old cursor costs is that a few points are
// sent again after a power cut; so it is saved now and then.
type saved struct {
	place int64
	at    time.Time
	rows  int // brought since
}

// lastSave bounds the saving at a shutdown.
const lastSave = 5 * time.Second

// settle parks what the server refused of a load and moves the cursor past it.
// Parking is tried until it succeeds; it is false when ctx ends first.
func (f *Forwarder) settle(ctx context.Context, load *consignment) bool {
	for n := 0; len(load.parked) > 0; n++ {
		err := f.journal.Park(ctx, load.parked)
		if err == nil {
			p := load.parked[0]
			f.log.Warn("database refused rows", "rows", load.lost, "said", p.Reason, "first", p.Line)
			break
		}
		f.journalTrouble("park rows", n, err)
		if !pause(ctx, f.cfg.Pace.backoff(n, answer{})) {
			return false
		}
	}
	f.update(func(g *Figures) { g.Reached = load.last })
	f.saved.rows += len(load.ends)
	// The cursor goes with what is parked, or the same rows would be parked again,
	// and back at once, lest a power cut forget that it went back.
	if load.anew || len(load.parked) > 0 || f.saved.rows >= f.cfg.Pace.SaveRows || f.cfg.Now().Sub(f.saved.at) >= f.cfg.Pace.SaveEvery {
		f.save(ctx)
	}
	return true
}

// save writes the cursor. When it can't, nothing is lost: the old one holds.
func (f *Forwarder) save(ctx context.Context) {
	to := f.Figures().Reached
	if err := f.journal.SetCursor(ctx, cursorName, to); err != nil {
		f.log.Warn("cursor not saved", "error", err)
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
