package main

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"time"

	"binwatchd/internal/config"
	"binwatchd/internal/ingest"
)

// A speaker publishes what a farm says at a time.
type speaker func(at time.Time, publish func(topic, payload string))

// liveThrough writes a journal of the time from one moment to another, as a
// daemon would have with a message heard every ten minutes; no daemon may run.
func liveThrough(t *testing.T, cfgPath string, from, to time.Time, say speaker) {
	t.Helper()
	if err := relive(cfgPath, from, to, say); err != nil {
		t.Fatal(err)
	}
}

func relive(cfgPath string, from, to time.Time, say speaker) error {
	cfg, err := config.Load(cfgPath, config.ForRun)
	if err != nil {
		return err
	}
	ctx := context.Background()
	c := newDemoClock(from)
	d := &daemon{log: slog.New(slog.DiscardHandler), clock: clockwork{now: c.now}}
	if err := d.open(ctx, cfg); err != nil {
		return err
	}
	for at := from; at.Before(to) && err == nil; at = at.Add(10 * time.Minute) {
		c.set(func() time.Time { return at })
		say(at, func(topic, payload string) {
			err = errors.Join(err, d.loop.Relive(ctx, &ingest.Delivery{Topic: topic, Payload: []byte(payload), Arrived: at, Ack: func() {}}))
		})
	}
	return errors.Join(err, d.loop.Relived(ctx), d.close())
}
