package notify_test

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"net"
	"slices"
	"sync"
	"testing"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"binwatchd/internal/certtest"
)

// A postOffice is a real SMTP server with STARTTLS and AUTH that keeps what it
// accepts and can be told to misbehave at a stage.
type postOffice struct {
	addr  string
	roots *x509.CertPool

	mu    sync.Mutex
	mails []posted
	fail  map[string]error // by stage: mail, rcpt, data
	stall map[string]chan struct{}
}

type posted struct {
	from string
	to   []string
	raw  []byte
	tls  bool
	user string
}

// openPostOffice serves on a free port of loopback until the test ends.
func openPostOffice(t *testing.T) *postOffice {
	t.Helper()
	local := certtest.NewLocal(t)
	p := &postOffice{roots: local.Roots, fail: map[string]error{}, stall: map[string]chan struct{}{}}
	srv := smtp.NewServer(smtp.BackendFunc(func(c *smtp.Conn) (smtp.Session, error) {
		return &visit{office: p, conn: c}, nil
	}))
	srv.Domain, srv.TLSConfig = "mail.example.org", &tls.Config{Certificates: []tls.Certificate{local.Certificate}}
	srv.AllowInsecureAuth = false
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p.addr = l.Addr().String()
	done := make(chan error, 1)
	go func() { done <- srv.Serve(l) }()
	t.Cleanup(func() {
		p.release()
		srv.Close()
		if err := <-done; err != nil && !errors.Is(err, smtp.ErrServerClosed) {
			t.Errorf("smtp server: %v", err)
		}
	})
	return p
}

// failAt makes a stage answer with an error; nil ends that.
func (p *postOffice) failAt(stage string, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.fail[stage] = err
}

// stallAt makes a stage hang until release.
func (p *postOffice) stallAt(stage string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.stall[stage] = make(chan struct{})
}

func (p *postOffice) release() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for stage, c := range p.stall {
		close(c)
		delete(p.stall, stage)
	}
}

// at is called at every stage.
func (p *postOffice) at(stage string) error {
	p.mu.Lock()
	err, stall := p.fail[stage], p.stall[stage]
	p.mu.Unlock()
	if stall != nil {
		<-stall
	}
	return err
}

func (p *postOffice) received() []posted {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.Clone(p.mails)
}

// visit is one session.
type visit struct {
	office *postOffice
	conn   *smtp.Conn
	mail   posted
}

func (v *visit) AuthMechanisms() []string { return []string{sasl.Plain} }

func (v *visit) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if err := v.office.at("auth"); err != nil {
			return err
		}
		if user != "bins" || password != "clover-hymn" {
			return smtp.ErrAuthFailed
		}
		v.mail.user = user
		return nil
	}), nil
}

func (v *visit) Mail(from string, _ *smtp.MailOptions) error {
	v.mail.from = from
	return v.office.at("mail")
}

func (v *visit) Rcpt(to string, _ *smtp.RcptOptions) error {
	v.mail.to = append(v.mail.to, to)
	return v.office.at("rcpt")
}

func (v *visit) Data(r io.Reader) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	v.mail.raw = raw
	_, v.mail.tls = v.conn.TLSConnectionState()
	if err := v.office.at("data"); err != nil {
		return err
	}
	v.office.mu.Lock()
	v.office.mails = append(v.office.mails, v.mail)
	v.office.mu.Unlock()
	return v.office.at("accepted") // hangs after the mail is kept, before the answer
}

func (v *visit) Reset()        { v.mail = posted{user: v.mail.user} }
func (v *visit) Logout() error { return nil }
