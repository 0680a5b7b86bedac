package demo

import (
	"context"
	"fmt"
	"time"
)

// A Publisher sends messages to a broker; [Radio] is one. Publish may return
// before the broker has the message, and blocks while too many are under way.
type Publisher interface {
	Publish(ctx context.Context, m Message) error
}

// Play lets the nursery live along with a clock and publishes each message
// when its time has come. The clock tells farm time, which passes speedup
// times as fast as the time it sleeps in; [Hasten] makes one. What is already
// due goes out at once. Play ends with the context's error or the first
// failure to publish.
func (s *Sim) Play(ctx context.Context, pub Publisher, speedup float64, now func() time.Time) error {
	for {
		next := s.Next()
		if err := sleep(ctx, time.Duration(float64(next.Sub(now()))/speedup)); err != nil {
			return err
		}
		var err error
		s.Until(next, func(m Message) {
			if err == nil {
				err = pub.Publish(ctx, m)
			}
		})
		if err != nil {
			return fmt.Errorf("publish simulated readings: %w", err)
		}
	}
}

// Hasten makes a clock of farm time: it shows from at the moment of the call
// and goes speedup times as fast as wall.
func Hasten(wall func() time.Time, from time.Time, speedup float64) func() time.Time {
	began := wall()
	return func() time.Time {
		return from.Add(time.Duration(float64(wall().Sub(began)) * speedup))
	}
}

// sleep waits for d or until the context ends; a d that is not positive does
// not wait.
func sleep(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return context.Cause(ctx)
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}
