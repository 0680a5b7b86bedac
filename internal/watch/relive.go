package watch

import (
	"context"

	"binwatchd/internal/ingest"
)

// bulk is how much is written in one transaction while history is relived:
// nobody waits for an acknowledgement.
const bulk = 4096

// Relive takes in a message of the past, before [Loop.Run]: what a recording or
// a simulation says was sent while the loop's clock showed its time. Writing
// is in bulk; [Loop.Relived] writes the rest.
func (l *Loop) Relive(ctx context.Context, d *ingest.Delivery) error {
	l.decode(d)
	l.batch.urgent = false
	if l.batch.waiting() < bulk {
		return nil
	}
	return l.commit(ctx)
}

// Relived ends a stretch of Relive.
func (l *Loop) Relived(ctx context.Context) error { return l.commit(ctx) }
