package main_test

import (
	"crypto/tls"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/certtest"
	"binwatchd/internal/notify"
)

// beds is how many bins get too hot, one after the other.
const beds = 15

// BenchmarkTold is how long it takes from the publishing of a reading until a
// webhook has its notice and until a mail server has accepted the mail, with the
// daemon in a process of its own, TLS to the mail server and the usual flush.
func BenchmarkTold(b *testing.B) {
	broker := brokertest.StartMosquitto(b, brokertest.Options{})
	mails, hooks := make(chan time.Time, beds), make(chan time.Time, beds)
	server, ca := openMailbox(b, mails)
	hook := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body) // what it says is not measured
		hooks <- time.Now()
	}))
	b.Cleanup(hook.Close)
	cfg := write(b, "binwatchd.yaml", toldYAML(broker.URL, filepath.Join(b.TempDir(), "journal.db"), server, ca, hook.URL))
	c := startChild(b, cfg)
	c.says("broker reached")
	probes := brokertest.Client(b, broker.URL, "probes", "", "")
	var byMail, byHook []time.Duration
	for b.Loop() {
		for i := range beds {
			sent := time.Now()
			brokertest.Done(b, "publish", probes.Publish(fmt.Sprintf("glass/t%d", i), 1, false, "36.5"))
			byHook = append(byHook, (<-hooks).Sub(sent))
			byMail = append(byMail, (<-mails).Sub(sent)-notify.UsualGatherNow)
		}
	}
	slices.Sort(byMail)
	slices.Sort(byHook)
	b.ReportMetric(float64(byHook[beds/2].Microseconds())/1000, "webhook-ms")
	b.ReportMetric(float64(byMail[beds/2].Microseconds())/1000, "mail-ms")
	c.stop()
}

func toldYAML(broker, journal, server, ca, hook string) string {
	var y strings.Builder
	fmt.Fprintf(&y, "farm: Hillfoot Nursery\ntimezone: UTC\nbroker: {url: %q}\njournal: {path: %q}\nmail: {server: %q, from: bins@example.org, ca: %q}\n",
		broker, journal, server, ca)
	fmt.Fprintf(&y, "tell:\n  - {mail: keeper@example.org}\n  - {webhook: %q}\nprobes:\n", hook)
	for i := range beds {
		fmt.Fprintf(&y, "  t%d: {topic: glass/t%d, measures: temperature}\n", i, i)
	}
	y.WriteString("bins:\n")
	for i := range beds {
		fmt.Fprintf(&y, "  bed%d: {species: red, zones: {all: {aim: living, probes: [t%d], patience: 0s}}}\n", i, i)
	}
	return y.String()
}

// openMailbox starts a mail server that wants STARTTLS, and notes when it has
// accepted a mail.
func openMailbox(b *testing.B, accepted chan<- time.Time) (address, ca string) {
	local := certtest.NewLocal(b)
	s := smtp.NewServer(smtp.BackendFunc(func(*smtp.Conn) (smtp.Session, error) { return visit{accepted}, nil }))
	s.Domain, s.TLSConfig = "localhost", &tls.Config{Certificates: []tls.Certificate{local.Certificate}}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	go s.Serve(ln)
	b.Cleanup(func() { s.Close() })
	_, port, _ := net.SplitHostPort(ln.Addr().String())
	return net.JoinHostPort("localhost", port), local.CertFile
}

// A visit is one SMTP session.
type visit struct{ accepted chan<- time.Time }

func (visit) Mail(string, *smtp.MailOptions) error { return nil }
func (visit) Rcpt(string, *smtp.RcptOptions) error { return nil }
func (visit) Reset()                               {}
func (visit) Logout() error                        { return nil }

func (v visit) Data(r io.Reader) error {
	_, err := io.Copy(io.Discard, r)
	v.accepted <- time.Now()
	return err
}
