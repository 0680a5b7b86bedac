package main

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/clock"
	"binwatchd/internal/config"
)

// A machine that is switched off while it comes up has not failed.
func TestStoppedWhileItStarts(t *testing.T) {
	dir := t.TempDir()
	path := write(t, dir, "binwatchd.yaml", fmt.Sprintf(killYAML, "tcp://127.0.0.1:1", filepath.Join(dir, "journal.db"), dir, "http://127.0.0.1:1"))
	cfg, err := config.Load(path, config.ForRun)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	var said bytes.Buffer
	if err := runDaemon(ctx, &call{path: path, cfg: cfg}, clock.Sources{Wall: time.Now}, slog.New(slog.NewTextHandler(&said, nil))); err != nil {
		t.Errorf("got %v, want a clean end", err)
	}
	if !strings.Contains(said.String(), "stopped before it watched") {
		t.Errorf("it says %q", said.String())
	}
}
