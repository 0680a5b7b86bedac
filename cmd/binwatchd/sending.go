package main

import (
	"context"
	"sync"

	"binwatchd/internal/notify"
)

// sending runs the sender of notices, and another one after a reload.
type sending struct {
	mu      sync.Mutex
	sender  *notify.Sender
	named   []notify.Teller
	changed chan struct{} // holds a value when sender is another
}

func (s *sending) set(sender *notify.Sender, named []notify.Teller) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.changed == nil {
		s.changed = make(chan struct{}, 1)
	}
	s.sender, s.named = sender, named
	select {
	case s.changed <- struct{}{}:
	default:
	}
}

// now is the sender in force.
func (s *sending) now() *notify.Sender {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.sender
}

// tellers are those in force.
func (s *sending) tellers() []notify.Teller {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.named
}

// run drains the outbox until ctx ends.
func (s *sending) run(ctx context.Context) error {
	for ctx.Err() == nil {
		until, stop := context.WithCancel(ctx)
		done := make(chan struct{})
		select {
		case <-s.changed: // the one we are about to run
		default:
		}
		go func() {
			defer close(done)
			s.now().Run(until)
		}()
		select {
		case <-ctx.Done():
		case <-s.changed:
		}
		stop()
		<-done
	}
	return nil
}
