package main

import (
	"path/filepath"
	"syscall"
	"testing"

	"binwatchd/internal/config"
	"binwatchd/internal/ingest"
)

// A certificate's path that names a pipe must not hold the daemon: whoever reads
// the file for good refuses it.
func TestSealsDoNotWaitForAPipe(t *testing.T) {
	pipe := filepath.Join(t.TempDir(), "page.pem")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	tls := &ingest.ClientTLS{CA: pipe, Cert: pipe, Key: pipe}
	got := sealsOf(&config.Config{File: config.File{Broker: ingest.BrokerSettings{TLS: tls}}})
	for _, seal := range got {
		if seal.name == "broker.tls.ca" || seal.name == "broker.tls.cert" {
			t.Errorf("%s: got a seal of a pipe, want none", seal.name)
		}
	}
}
