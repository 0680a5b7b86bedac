// Package certtest makes certificates that only a test trusts.
package certtest

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
	"os"
	"path/filepath"
	"testing"
	"time"
)

// Local is a certificate for localhost and 127.0.0.1 that is its own authority.
type Local struct {
	tls.Certificate
	Roots             *x509.CertPool // that trust it alone
	CertFile, KeyFile string         // PEM
}

// NewLocal makes one that is good for a day.
func NewLocal(tb testing.TB) Local {
	tb.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		tb.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "localhost"},
		DNSNames: []string{"localhost"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	cert, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		tb.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		tb.Fatal(err)
	}
	dir := tb.TempDir()
	l := Local{Roots: x509.NewCertPool(), CertFile: filepath.Join(dir, "cert.pem"), KeyFile: filepath.Join(dir, "key.pem")}
	certPEM, keyPEM := write(tb, l.CertFile, "CERTIFICATE", cert), write(tb, l.KeyFile, "PRIVATE KEY", secret)
	if l.Certificate, err = tls.X509KeyPair(certPEM, keyPEM); err != nil {
		tb.Fatal(err)
	}
	l.Roots.AppendCertsFromPEM(certPEM)
	return l
}

func write(tb testing.TB, path, kind string, der []byte) []byte {
	tb.Helper()
	text := pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der})
	if err := os.WriteFile(path, text, 0o600); err != nil {
		tb.Fatal(err)
	}
	return text
}
