package main

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// A part is one goroutine of the daemon. It returns when its context ends.
type part struct {
	name string
	run  func(context.Context) error
}

// runParts runs all parts until ctx ends or one of them fails, then ends them
// one after the other in the order given. The error is the first failure.
func runParts(ctx context.Context, parts []part) error {
	failed := make(chan error, len(parts))
	var stops []func()
	for _, p := range parts {
		stops = append(stops, start(ctx, p, failed))
	}
	var first error
	select {
	case <-ctx.Done():
	case first = <-failed:
	}
	for _, stop := range stops {
		stop()
	}
	return first
}

// every makes a part of what is to be done now and then, first after d.
func every(d time.Duration, do func(context.Context)) func(context.Context) error {
	return func(ctx context.Context) error {
		turn := time.NewTicker(d)
		defer turn.Stop()
		for {
			select {
			case <-ctx.Done():
				return nil
			case <-turn.C:
				do(ctx)
			}
		}
	}
}

// start runs one part; stop ends it and waits until it has ended.
func start(ctx context.Context, p part, failed chan<- error) (stop func()) {
	own, cancel := context.WithCancel(context.WithoutCancel(ctx))
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := p.run(own); err != nil && !errors.Is(err, context.Canceled) {
			failed <- fmt.Errorf("%s: %w", p.name, err)
		}
	}()
	return func() {
		cancel()
		<-done
	}
}
