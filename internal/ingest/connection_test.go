package ingest

import (
	"crypto/tls"
	"net"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"testing/synctest"

	"binwatchd/internal/certtest"
)

// A torn connection fails to write once it is torn; what has come can be read.
type torn struct {
	net.Conn
	now *atomic.Bool
}

func (c torn) Write(p []byte) (int, error) {
	if c.now.Load() {
		return 0, &net.OpError{Op: "write", Net: "tcp", Err: syscall.ECONNRESET}
	}
	return c.Conn.Write(p)
}

// Why a broker refuses our certificate is told, also when the connection breaks
// before its alert is read.
func TestTheReasonOutlivesTheConnection(t *testing.T) {
	local := certtest.NewLocal(t)
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer ln.Close()
	refused := make(chan error, 1)
	go func() {
		c, err := ln.Accept()
		if err != nil {
			refused <- err
			return
		}
		defer c.Close()
		// As crypto/tls has it, a client without a certificate is refused only after
		// its side of the handshake.
		refused <- tls.Server(c, &tls.Config{Certificates: []tls.Certificate{local.Certificate}, ClientAuth: tls.RequireAnyClientCert, MinVersion: tls.VersionTLS13}).Handshake()
	}()
	c, err := net.Dial("tcp", ln.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	var now atomic.Bool
	secure := tls.Client(torn{c, &now}, &tls.Config{RootCAs: local.Roots, ServerName: "localhost"})
	if err := secure.Handshake(); err != nil {
		t.Fatalf("our side of the handshake: %v", err)
	}
	if err := <-refused; err == nil {
		t.Fatal("the broker took us without a certificate")
	}
	now.Store(true)
	w := newBrokerConn(secure, func() {}, func(error) {})
	defer w.Close()
	_, err = w.Write([]byte("CONNECT"))
	if err == nil || !strings.Contains(plainer(err).Error(), "certificate required") {
		t.Errorf("got %v, want the broker's reason", err)
	}
}

// Without a reason what happened is told as it is, after a moment.
func TestABrokenConnectionWithoutReason(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		here, there := net.Pipe()
		defer there.Close()
		var now atomic.Bool
		now.Store(true)
		w := newBrokerConn(torn{here, &now}, func() {}, func(error) {})
		defer w.Close()
		if _, err := w.Write([]byte("CONNECT")); err == nil || !strings.Contains(err.Error(), "connection reset") {
			t.Errorf("got %v, want a reset connection", err)
		}
	})
}
