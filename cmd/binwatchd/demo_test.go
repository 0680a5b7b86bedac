package main

import (
	"net"
	"testing"
	"time"

	"binwatchd/internal/demo"
)

// The demo's page is where it says, also where the system is to choose the port.
func TestTheDemoSaysItsPort(t *testing.T) {
	for _, listen := range []string{":0", "127.0.0.1:0"} {
		cfg, err := demoConfig(demo.New(demoSeed, time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)), t.TempDir(), listen)
		if err != nil {
			t.Fatal(err)
		}
		if host, port, err := net.SplitHostPort(cfg.Page.Listen); err != nil || host != demoHost || port == "0" {
			t.Errorf("%s: the page is at %s", listen, cfg.Page.Listen)
		}
	}
}
