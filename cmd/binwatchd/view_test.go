package main

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"binwatchd/internal/config"
)

// A card that can't be read any more is when the keeper looks: they are shown how
// the farm stands, without what would have to be read for it.
func TestAJournalThatCantBeReadHidesNothingElse(t *testing.T) {
	dir := t.TempDir()
	cfg, err := config.Load(write(t, dir, "farm.yaml", fmt.Sprintf(wrongClockYAML,
		"tcp://127.0.0.1:1", filepath.Join(dir, "journal.db"), "http://127.0.0.1:1")), config.ForRun)
	if err != nil {
		t.Fatal(err)
	}
	d := &daemon{log: slog.New(slog.DiscardHandler), clock: clockwork{now: time.Now}}
	ctx, stop := context.WithCancel(t.Context())
	if err := d.open(ctx, cfg); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- d.loop.Run(ctx) }()
	defer func() {
		stop()
		<-ended // with an error, for it can't end its run in the journal
		_ = d.close()
	}()
	if v, err := d.view(ctx); err != nil || v.Passing == nil {
		t.Fatalf("before: got %+v, %v", v.Passing, err)
	}
	if err := d.journal.Close(); err != nil {
		t.Fatal(err)
	}
	if v, err := d.view(ctx); err != nil || v.Farm != "Hillfoot Nursery" || len(v.Bins) != 1 || v.Passing == nil {
		t.Errorf("got %+v, %v; want the farm as it stands", v, err)
	}
}
