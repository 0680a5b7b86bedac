package main

import (
	"crypto/x509"
	"fmt"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/proctest"
)

const brokerTLSYAML = `farm: Hillfoot Nursery
timezone: UTC
broker: {url: %q, user: bins, password: {file: %q}, tls: %s}
journal: {path: %q, flush: 1s}
probes:
  n: {topic: chaos/n, value: /v, time: /at, measures: temperature}
bins:
  bed: {species: red, zones: {all: {aim: living, probes: [n]}}}
`

const (
	brokerPassword = "compost&tea:40%"
	wrongPassword  = "leaf-mould?no/such"
)

// A tlsBroker asks for TLS, for a certificate of the nursery's own authority
// and for a password.
type tlsBroker struct {
	*brokertest.Broker
	own, other *ownAuthority
	cert, key  string // of a client the broker knows
}

func startTLSBroker(t *testing.T) *tlsBroker {
	t.Helper()
	b := &tlsBroker{own: newAuthority(t, "Hillfoot authority"), other: newAuthority(t, "another authority")}
	cert, key := b.own.issue("localhost", x509.ExtKeyUsageServerAuth)
	b.cert, b.key = b.own.issue("binwatchd", x509.ExtKeyUsageClientAuth)
	b.Broker = brokertest.StartMosquitto(t, brokertest.Options{
		Users: map[string]string{"bins": brokerPassword}, Cert: cert, Key: key,
		Extra: "cafile " + b.own.file + "\nrequire_certificate true",
	})
	return b
}

// asked writes the tls: of a configuration.
func asked(ca, cert, key string) string {
	if cert == "" {
		return fmt.Sprintf("{ca: %q}", ca)
	}
	return fmt.Sprintf("{ca: %q, cert: %q, key: %q}", ca, cert, key)
}

// A broker with its own authority that asks for a certificate and a password:
// readings come in; and when one of the three is wrong, the log says which in a
// line, gives nothing away, and the daemon tries again.
func TestBrokerOverTLS(t *testing.T) {
	t.Parallel()
	b := startTLSBroker(t)
	strange, strangeKey := b.other.issue("stranger", x509.ExtKeyUsageClientAuth)
	right := asked(b.own.file, b.cert, b.key)
	for _, tt := range []struct {
		name, url, password, tls string
		want                     string // in the log
	}{
		{"all right", b.URL, brokerPassword, right, "broker reached"},
		{"another authority", b.URL, brokerPassword, asked(b.other.file, b.cert, b.key), "the broker's certificate is not accepted: x509: certificate signed by unknown authority"},
		{"wrong password", b.URL, wrongPassword, right, "the broker does not let this user in, or not with this password"},
		{"no certificate", b.URL, brokerPassword, asked(b.own.file, "", ""), "certificate required"},
		{"a stranger's certificate", b.URL, brokerPassword, asked(b.own.file, strange, strangeKey), "unknown certificate authority"},
		{"another name", "tls://127.0.0.1:" + portOf(t, b.Addr), brokerPassword, right, "the broker's certificate is not accepted: x509: cannot validate certificate for 127.0.0.1"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			db := filepath.Join(dir, "journal.db")
			cfg := write(t, dir, "binwatchd.yaml", fmt.Sprintf(brokerTLSYAML, tt.url, secretFile(t, dir, "broker.secret", tt.password), tt.tls, db))
			c := startChild(t, nil, "run", "--config", cfg, "--verbose")
			c.Says(tt.want)
			if tt.want == "broker reached" {
				b.speaks(t, db)
			} else {
				proctest.Eventually(t, "another try", func() bool { return strings.Count(c.Log.String(), "broker lost") > 1 })
			}
			c.End(syscall.SIGTERM)
			for _, secret := range []string{tt.password, "PRIVATE KEY"} {
				if strings.Contains(c.Log.String(), secret) {
					t.Errorf("the log gives %q away: %s", secret, c.Log)
				}
			}
			t.Logf("%s", firstLine(c.Log.String(), tt.want))
		})
	}
}

// speaks has a probe say something over TLS, and waits until it is kept.
func (b *tlsBroker) speaks(t *testing.T, db string) {
	t.Helper()
	o := mqtt.NewClientOptions().AddBroker(b.URL).SetUsername("bins").SetPassword(brokerPassword).
		SetTLSConfig(b.own.client(b.cert, b.key)).SetAutoReconnect(false)
	c := mqtt.NewClient(o)
	brokertest.Done(t, "connect a probe", c.Connect())
	defer c.Disconnect(50)
	brokertest.Done(t, "publish", c.Publish("chaos/n", 1, false, numbered(1, time.Now())))
	kept := newLedger(t, db)
	proctest.Eventually(t, "the reading is kept", func() bool { kept.read(); return kept.times[1] == 1 })
}

// firstLine is the first line that holds a text.
func firstLine(log, text string) string {
	for line := range strings.Lines(log) {
		if strings.Contains(line, text) {
			return strings.TrimSpace(line)
		}
	}
	return "(no line with " + text + ")"
}
