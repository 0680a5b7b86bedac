package ingest_test

import (
	"log/slog"
	"testing"
	"time"

	"binwatchd/internal/ingest"
)

// A start that goes wrong after the address is bound must not keep it.
func TestAListenerThatNeverRanFreesItsAddress(t *testing.T) {
	cfg := ingest.ListenerConfig{Address: "127.0.0.1:0", Log: slog.New(slog.DiscardHandler), Now: time.Now}
	first, err := ingest.Listen(cfg)
	if err != nil {
		t.Fatal(err)
	}
	cfg.Address = first.Addr().String()
	if second, err := ingest.Listen(cfg); err == nil {
		second.Close()
		t.Fatal("two listeners on one address")
	}
	first.Close()
	first.Close() // twice is harmless
	second, err := ingest.Listen(cfg)
	if err != nil {
		t.Fatalf("the address is still taken: %v", err)
	}
	second.Close()
}
