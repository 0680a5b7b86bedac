package main

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"time"

	"binwatchd/internal/ingest"
	"binwatchd/internal/secret"
)

// times are the two clocks that the daemon's parts go by. A machine without a
// battery clock starts in the past, and may stay there for long.
type times struct {
	now          func() time.Time // journal time, once there is a loop
	certificates func() time.Time // by which certificates are judged
}

// machineTimes are those of a command that runs for a moment.
func machineTimes() times {
	now := func() time.Time { return later(time.Now(), built) }
	return times{now, now}
}

func (d *daemon) times() times { return times{d.now, d.certificates} }

// now is journal time. Before the loop is there it is the wall clock's, not before
// the build.
func (d *daemon) now() time.Time {
	if l := d.timed.Load(); l != nil {
		return l.Time()
	}
	return later(d.clock.now(), built)
}

// certificates is the latest that it can be by all that is known: a clock that
// has not been set would take every certificate for one of the future.
func (d *daemon) certificates() time.Time {
	return later(d.clock.now(), built, d.now())
}

func later(times ...time.Time) time.Time { return slices.MaxFunc(times, time.Time.Compare) }

// judgeCertificates has the push services, which bring no settings of their own,
// judge certificates by a clock. Some have settings of their own: those go by the
// machine's.
func judgeCertificates(by func() time.Time) {
	if t, ok := http.DefaultTransport.(*http.Transport); ok {
		t.TLSClientConfig = &tls.Config{MinVersion: tls.VersionTLS12, Time: by}
	}
}

// clientTLS is for calling a broker or a database; files may be nil.
func clientTLS(files *ingest.ClientTLS) (*tls.Config, error) {
	tc := &tls.Config{MinVersion: tls.VersionTLS12}
	if files == nil {
		return tc, nil
	}
	if files.CA != "" {
		pool, err := authority(files.CA)
		if err != nil {
			return nil, err
		}
		tc.RootCAs = pool
	}
	if files.Cert != "" {
		pair, err := keyPair(files.Cert, files.Key)
		if err != nil {
			return nil, fmt.Errorf("read the client certificate: %w", err)
		}
		tc.Certificates = []tls.Certificate{pair}
	}
	return tc, nil
}

// keyPair reads a certificate and its private key.
func keyPair(cert, key string) (tls.Certificate, error) {
	keyPEM, err := secret.ReadKey(key)
	if err != nil {
		return tls.Certificate{}, err
	}
	certPEM, err := secret.ReadPlain(cert)
	if err != nil {
		return tls.Certificate{}, err
	}
	return tls.X509KeyPair(certPEM, keyPEM)
}

// authority reads the certificates of an own authority.
func authority(path string) (*x509.CertPool, error) {
	pem, err := secret.ReadPlain(path)
	if err != nil {
		return nil, fmt.Errorf("read the authority's certificate: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("%s holds no certificate", path)
	}
	return pool, nil
}

// revealed reads a secret that may be missing.
func revealed(s secret.Secret) (string, error) {
	if s.IsZero() {
		return "", nil
	}
	return s.Reveal()
}

// An opener reads secrets, and keeps what failed.
type opener struct{ failed []error }

// reveal reads a secret that may be missing; what says in an error whose it is.
func (o *opener) reveal(what string, s secret.Secret) string {
	text, err := revealed(s)
	o.note(what, err)
	return text
}

// note keeps what is wrong with a secret, if anything is.
func (o *opener) note(what string, err error) {
	if err != nil {
		o.failed = append(o.failed, fmt.Errorf("%s: %w", what, err))
	}
}

func (o *opener) err() error { return errors.Join(o.failed...) }
