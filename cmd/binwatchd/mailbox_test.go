package main

import (
	"crypto/tls"
	"errors"
	"io"
	"net"
	"net/mail"
	"strings"
	"sync"
	"testing"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"binwatchd/internal/certtest"
)

// A mailbox is a real SMTP server that wants STARTTLS and a password, and
// keeps what it accepts.
type mailbox struct {
	addr string
	ca   string // file of the authority to trust

	mu    sync.Mutex
	mails []*mail.Message
}

const (
	mailUser     = "bins"
	mailPassword = "worms-like-it-moist"
)

func startMailbox(t *testing.T) *mailbox {
	t.Helper()
	local := certtest.NewLocal(t)
	m := &mailbox{ca: local.CertFile}
	s := smtp.NewServer(smtp.BackendFunc(func(*smtp.Conn) (smtp.Session, error) { return &delivery{box: m}, nil }))
	s.Domain = "localhost"
	s.TLSConfig = &tls.Config{Certificates: []tls.Certificate{local.Certificate}, MinVersion: tls.VersionTLS12}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	_, port, _ := net.SplitHostPort(ln.Addr().String())
	m.addr = net.JoinHostPort("localhost", port)
	go s.Serve(ln)
	t.Cleanup(func() { s.Close() })
	return m
}

// all gives the mails accepted so far.
func (m *mailbox) all() []*mail.Message {
	m.mu.Lock()
	defer m.mu.Unlock()
	return append([]*mail.Message(nil), m.mails...)
}

// A delivery is one SMTP session.
type delivery struct {
	box *mailbox
	in  bool
}

func (d *delivery) AuthMechanisms() []string { return []string{sasl.Plain} }

func (d *delivery) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if user != mailUser || password != mailPassword {
			return errors.New("wrong user or password")
		}
		d.in = true
		return nil
	}), nil
}

func (d *delivery) Mail(string, *smtp.MailOptions) error {
	if !d.in {
		return smtp.ErrAuthRequired
	}
	return nil
}

func (d *delivery) Rcpt(string, *smtp.RcptOptions) error { return nil }

func (d *delivery) Data(r io.Reader) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	msg, err := mail.ReadMessage(strings.NewReader(string(raw)))
	if err != nil {
		return err
	}
	d.box.mu.Lock()
	defer d.box.mu.Unlock()
	d.box.mails = append(d.box.mails, msg)
	return nil
}

func (d *delivery) Reset()        {}
func (d *delivery) Logout() error { return nil }
