package influx_test

import (
	"crypto/tls"
	"crypto/x509"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"binwatchd/internal/certtest"
	"binwatchd/internal/influx"
	"binwatchd/internal/proctest"
)

// takes answers as a database that has taken all.
func takes(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) }

// A database that listens with TLS, or without, or that wants to know who calls, is
// reached by the right configuration; the wrong one is told at once with what to write.
func TestConnectionsThatCanNeverBe(t *testing.T) {
	own := certtest.NewLocal(t)
	serve := func(tc *tls.Config) string {
		s := httptest.NewUnstartedServer(http.HandlerFunc(takes))
		s.Config.ErrorLog = log.New(io.Discard, "", 0)
		if tc == nil {
			s.Start()
		} else {
			tc.Certificates = []tls.Certificate{own.Certificate}
			s.TLS = tc
			s.StartTLS()
		}
		t.Cleanup(s.Close)
		return s.Listener.Addr().String()
	}
	open, private := serve(nil), serve(&tls.Config{})
	asking := serve(&tls.Config{ClientAuth: tls.RequireAndVerifyClientCert, ClientCAs: own.Roots})
	known := &tls.Config{RootCAs: own.Roots}
	stranger := certtest.NewLocal(t)
	for _, tt := range []struct {
		name, url string
		tls       *tls.Config
		want      string
	}{
		{"http to http", "http://" + open, nil, "takes readings"},
		{"https to https", "https://" + private, known, "takes readings"},
		{"https with a certificate of ours", "https://" + asking, &tls.Config{RootCAs: own.Roots, Certificates: []tls.Certificate{own.Certificate}}, "takes readings"},
		{"http to https", "http://" + private, nil, "begin url under influx with https://"},
		{"https to http", "https://" + open, known, "begin url under influx with http://"},
		{"http to a server that answers with an alert", "http://" + alerting(t), nil, "begin url under influx with https://"},
		{"an authority that nobody knows", "https://" + private, nil, "with ca under influx"},
		{"without a certificate of ours", "https://" + asking, known, "give cert and key under influx"},
		{"with one of a stranger", "https://" + asking, &tls.Config{RootCAs: own.Roots, Certificates: []tls.Certificate{stranger.Certificate}}, "give cert and key under influx"},
		{"another name", "https://" + strings.Replace(private, "127.0.0.1", "127.0.0.2", 1), known, "the name that it is for"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if tt.name == "another name" {
				l, err := net.Listen("tcp", "127.0.0.2:0")
				if err != nil {
					t.Fatal(err)
				}
				s := &http.Server{Handler: http.HandlerFunc(takes), TLSConfig: &tls.Config{Certificates: []tls.Certificate{own.Certificate}}, ErrorLog: log.New(io.Discard, "", 0)}
				go s.ServeTLS(l, "", "")
				t.Cleanup(func() { s.Close() })
				tt.url = "https://" + l.Addr().String()
			}
			m, told := &memory{}, &troubles{}
			m.fill(3, start)
			cfg := influx.Config{Settings: influx.Settings{URL: tt.url, Flavour: influx.V1, Database: "bins"}, TLS: tt.tls, Now: time.Now, Pace: eager}
			r := forward(t, cfg, hillfoot(), m, told.tell)
			proctest.Eventually(t, "the keeper is told", func() bool { return len(told.told()) > 0 })
			wantTold(t, told.told()[:1], tt.want)
			if g := r.Figures(); g.Parked != 0 || (g.Written == 3) != (tt.want == "takes readings") {
				t.Errorf("figures %+v; nothing is wrong with the rows", g)
			}
		})
	}
}

// alerting is a server that answers anything with a fatal alert of TLS (RFC 8446, 6).
func alerting(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			c.Read(make([]byte, 4096))
			c.Write([]byte("\x15\x03\x01\x00\x02\x02\x46"))
			c.Close()
		}
	}()
	return l.Addr().String()
}

// The clock by which certificates are judged is ours also where an authority is given.
func TestCertificatesGoByTheGivenTime(t *testing.T) {
	own := certtest.NewLocal(t)
	s := httptest.NewUnstartedServer(http.HandlerFunc(takes))
	s.Config.ErrorLog = log.New(io.Discard, "", 0)
	s.TLS = &tls.Config{Certificates: []tls.Certificate{own.Certificate}}
	s.StartTLS()
	t.Cleanup(s.Close)
	roots := x509.NewCertPool()
	roots.AddCert(own.Leaf)
	m, told := &memory{}, &troubles{}
	m.fill(3, start)
	cfg := influx.Config{Settings: influx.Settings{URL: s.URL, Flavour: influx.V1, Database: "bins"}, TLS: &tls.Config{RootCAs: roots}, Now: time.Now, Pace: eager,
		CertTime: func() time.Time { return time.Now().AddDate(1, 0, 0) }}
	r := forward(t, cfg, hillfoot(), m, told.tell)
	proctest.Eventually(t, "a failure", func() bool { return strings.Contains(r.Figures().Trouble, "certificate has expired") })
}
