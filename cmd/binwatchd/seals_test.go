package main

import (
	"path/filepath"
	"syscall"
	"testing"

	"binwatchd/internal/config"
)

// A certificate's path that names a pipe must not hold the daemon: whoever reads
// the file for good refuses it.
func TestSealsDoNotWaitForAPipe(t *testing.T) {
	pipe := filepath.Join(t.TempDir(), "page.pem")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	tls := &config.ClientTLS{CA: pipe, Cert: pipe, Key: pipe}
	if got := sealsOf(&config.Config{Broker: config.Broker{TLS: tls}}); len(got) != 0 {
		t.Errorf("got %d seals of a pipe, want none", len(got))
	}
}
