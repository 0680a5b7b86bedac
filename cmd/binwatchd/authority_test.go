package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"path/filepath"
	"testing"
	"time"
)

// An authority signs certificates, as a nursery's own does.
type ownAuthority struct {
	t    *testing.T
	dir  string
	file string // its certificate
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
}

func newAuthority(t *testing.T, name string) *ownAuthority {
	t.Helper()
	a := &ownAuthority{t: t, dir: t.TempDir(), key: newKey(t)}
	a.cert = &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: name}, IsCA: true, BasicConstraintsValid: true,
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), KeyUsage: x509.KeyUsageCertSign,
	}
	a.file = a.sign(a.cert, a.key, "authority")
	return a
}

func newKey(t *testing.T) *ecdsa.PrivateKey {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

// sign writes a certificate for a key, and gives its file.
func (a *ownAuthority) sign(c *x509.Certificate, key *ecdsa.PrivateKey, name string) string {
	a.t.Helper()
	der, err := x509.CreateCertificate(rand.Reader, c, a.cert, key.Public(), a.key)
	if err != nil {
		a.t.Fatal(err)
	}
	return write(a.t, a.dir, name+".pem", string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})))
}

// issue makes a certificate for a server at localhost, or for a client, and
// gives the files of certificate and key.
func (a *ownAuthority) issue(name string, use x509.ExtKeyUsage) (cert, key string) {
	a.t.Helper()
	k := newKey(a.t)
	der, err := x509.MarshalPKCS8PrivateKey(k)
	if err != nil {
		a.t.Fatal(err)
	}
	c := &x509.Certificate{
		SerialNumber: big.NewInt(time.Now().UnixNano()), Subject: pkix.Name{CommonName: name}, DNSNames: []string{name},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{use},
	}
	key = write(a.t, a.dir, name+".key", string(pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der})))
	return a.sign(c, k, name), key
}

// client is what a client of the authority's servers needs that shows a
// certificate of its own.
func (a *ownAuthority) client(cert, key string) *tls.Config {
	a.t.Helper()
	pool, err := authority(a.file)
	if err != nil {
		a.t.Fatal(err)
	}
	pair, err := tls.LoadX509KeyPair(cert, key)
	if err != nil {
		a.t.Fatal(err)
	}
	return &tls.Config{RootCAs: pool, Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}
}

// portOf is the port in an address.
func portOf(t *testing.T, addr string) string {
	t.Helper()
	_, port, err := net.SplitHostPort(addr)
	if err != nil {
		t.Fatal(err)
	}
	return port
}

// secretFile writes a secret into a file that nobody else may read.
func secretFile(t *testing.T, dir, name, secret string) string {
	t.Helper()
	write(t, dir, name, secret+"\n")
	return filepath.Join(dir, name)
}
