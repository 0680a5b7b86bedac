package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	gocmp "github.com/google/go-cmp/cmp"

	"binwatchd/internal/config"
	"binwatchd/internal/farm"
	"binwatchd/internal/ingest"
)

const monthYAML = `farm: Hillfoot Nursery
timezone: UTC
broker: {url: "tcp://127.0.0.1:1"}
journal: {path: %q, keep: 4d}
probes: {bed-t: {topic: glass/bed, measures: temperature, every: 3h}}
bins: {bed: {species: red, zones: {near: {aim: living, probes: [bed-t]}}}}
`

// silent is an intake that nothing comes from.
type silent struct{}

func (silent) Items() <-chan ingest.Item     { return nil }
func (silent) Reconnect()                    {}
func (silent) Answer(*ingest.Answer)         {}
func (silent) Run(ctx context.Context) error { return nil }

// Days pass for a daemon, a reading every six hours: by itself it packs what is old and
// lets go of what is older than journal.keep, and nothing else is lost or there twice.
func TestDaysPass(t *testing.T) {
	dir := t.TempDir()
	cfg, err := config.Load(write(t, dir, "farm.yaml", fmt.Sprintf(monthYAML, filepath.Join(dir, "journal.db"))), config.ForRun)
	if err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		d := &daemon{log: slog.New(slog.DiscardHandler), clock: clockwork{now: time.Now}, intake: silent{}}
		d.cfg.Store(cfg)
		for _, open := range []func(context.Context, *config.Config) error{d.openJournal, d.openSender, d.openLoop} {
			if err := open(t.Context(), cfg); err != nil {
				t.Fatal(err)
			}
		}
		ctx, stop := context.WithCancel(t.Context())
		upkeep := slices.DeleteFunc(d.parts(), func(p part) bool { return p.name != "compaction" }) // the loop's minutes are held elsewhere
		ended := make(chan error, 1)
		go func() { ended <- runParts(ctx, upkeep) }()
		began := time.Now()
		for range 4 * 30 {
			err := d.loop.Relive(ctx, &ingest.Delivery{Topic: "glass/bed", Payload: []byte("21"), QoS: 1, Ack: func() {}})
			if err := cmp.Or(err, d.loop.Relived(ctx)); err != nil {
				t.Fatal(err)
			}
			time.Sleep(6 * time.Hour)
		}
		synctest.Wait()
		var there []time.Time
		if err := d.journal.Readings(ctx, began, time.Now(), func(e farm.Event) error { there = append(there, e.Reading.At); return nil }); err != nil {
			t.Error(err)
		}
		var want []time.Time
		for at := there[0]; at.Before(time.Now()); at = at.Add(6 * time.Hour) {
			want = append(want, at)
		}
		if diff := gocmp.Diff(want, there); diff != "" {
			t.Errorf("readings (-want +got):\n%s", diff)
		}
		// Few readings are packed a week at a time, and two days later.
		if kept := time.Since(there[0]); kept < cfg.Journal.Keep || kept > cfg.Journal.Keep+(7+7+2)*24*time.Hour {
			t.Errorf("the oldest of a month's readings is of %s, with %s to be kept", kept, cfg.Journal.Keep)
		}
		stop()
		if err := errors.Join(<-ended, d.closeParts()); err != nil {
			t.Error(err)
		}
		d.sending.now().end()
	})
}
