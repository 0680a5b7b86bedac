package systemd

import (
	"context"
	"log/slog"
	"time"
)

// Feed sends a sign of life whenever check succeeds, until ctx ends. It looks
// four times in an interval, and each check has half an interval to end: one
// slow or failed check is forgiven, a daemon that has hung for an interval is
// not, and is restarted by the service manager.
//
// check must go through what matters, as a question to the loop that writes
// the journal does; a timer that merely ticks would hide a daemon whose other
// parts hang. Where no watchdog is set Feed only waits for ctx to end.
func (n Notifier) Feed(ctx context.Context, check func(context.Context) error, log *slog.Logger) error {
	if n.interval <= 0 {
		<-ctx.Done()
		return nil
	}
	look := time.NewTicker(max(n.interval/4, time.Millisecond))
	defer look.Stop()
	well := true
	for {
		err := n.look(ctx, check)
		switch {
		case ctx.Err() != nil:
			return nil
		case err != nil && well: // said once, not at every look
			log.Warn("no sign of life for the watchdog", "error", err)
		case err == nil && !well:
			log.Info("the watchdog has its sign of life again")
		}
		well = err == nil
		select {
		case <-ctx.Done():
			return nil
		case <-look.C:
		}
	}
}

// look checks once, and sends a sign of life when all is well.
func (n Notifier) look(ctx context.Context, check func(context.Context) error) error {
	ctx, cancel := context.WithTimeout(ctx, n.interval/2)
	defer cancel()
	if err := check(ctx); err != nil {
		return err
	}
	return n.Alive()
}
