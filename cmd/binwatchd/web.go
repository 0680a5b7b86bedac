package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"

	"binwatchd/internal/config"
)

// A webServer serves the page, the metrics and the health on one address.
type webServer struct {
	http *http.Server
	ln   net.Listener
}

// listenWeb binds at once, so that an address in use is an error here.
func listenWeb(p *config.Page, h http.Handler) (*webServer, error) {
	ln, err := net.Listen("tcp", p.Listen)
	if err != nil {
		return nil, fmt.Errorf("serve the page: %w", err)
	}
	w := &webServer{ln: ln, http: &http.Server{
		Handler: h, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 15 * time.Second,
		WriteTimeout: 30 * time.Second, IdleTimeout: 2 * time.Minute,
	}}
	if p.TLS != nil {
		pair, err := keyPair(p.TLS.Cert, p.TLS.Key)
		if err != nil {
			return nil, errors.Join(fmt.Errorf("read the page's certificate: %w", err), ln.Close())
		}
		w.ln = tls.NewListener(ln, &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{pair}})
	}
	return w, nil
}

// run serves until ctx ends; answers under way have a few seconds to end.
func (w *webServer) run(ctx context.Context) error {
	done := make(chan error, 1)
	go func() { done <- w.http.Serve(w.ln) }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	end, cancel := context.WithTimeout(context.WithoutCancel(ctx), 3*time.Second)
	defer cancel()
	if err := w.http.Shutdown(end); err != nil {
		w.http.Close()
	}
	<-done
	return nil
}

// close frees the address of a server that never ran. Twice is harmless.
func (w *webServer) close() error {
	if err := w.ln.Close(); err != nil && !errors.Is(err, net.ErrClosed) {
		return fmt.Errorf("close the page: %w", err)
	}
	return nil
}
