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
	got := sealsOf(&config.Config{File: config.File{Broker: config.Broker{TLS: tls}}})
	for _, name := range []string{"broker.tls.ca", "broker.tls.cert"} {
		if _, ok := got[name]; ok {
			t.Errorf("%s: got a seal of a pipe, want none", name)
		}
	}
}
