package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"io"
	"math/big"
	"net"
	"net/mail"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
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
	pair, pemText := localCertificate(t)
	m := &mailbox{ca: write(t, t.TempDir(), "ca.pem", pemText)}
	s := smtp.NewServer(smtp.BackendFunc(func(*smtp.Conn) (smtp.Session, error) { return &delivery{box: m}, nil }))
	s.Domain = "localhost"
	s.TLSConfig = &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}
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

// localCertificate makes a certificate for localhost that is its own authority.
func localCertificate(t *testing.T) (tls.Certificate, string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "localhost"}, DNSNames: []string{"localhost"},
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore:   time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour), IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key},
		string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}))
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
