package ingest_test

import (
	"crypto/tls"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"binwatchd/internal/brokertest"
	"binwatchd/internal/certtest"
	"binwatchd/internal/ingest"
	"binwatchd/internal/proctest"
)

// listens serves each connection at a free port and gives its address.
func listens(t *testing.T, serve func(net.Conn)) string {
	t.Helper()
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
			go func() {
				defer c.Close()
				serve(c)
			}()
		}
	}()
	return l.Addr().String()
}

// connack answers CONNECT with bytes, and reads on until the other side goes. older are the
// answers to what is not MQTT 5.
func connack(older, newer string) func(net.Conn) {
	return func(c net.Conn) {
		head := make([]byte, 9)
		if _, err := io.ReadFull(c, head); err != nil || string(head[4:8]) != "MQTT" {
			return
		}
		answer := older
		if head[8] == 5 {
			answer = newer
		}
		if answer == "" {
			return
		}
		_, _ = io.WriteString(c, answer)
		_, _ = io.Copy(io.Discard, c)
	}
}

// A broker that can't be had says why, in one line, and what to write instead.
func TestWhyABrokerCannotBeHad(t *testing.T) {
	local := certtest.NewLocal(t)
	plain := brokertest.StartMosquitto(t, brokertest.Options{})
	users := brokertest.StartMosquitto(t, brokertest.Options{Users: map[string]string{"bins": "rhubarb"}})
	secure := brokertest.StartMosquitto(t, brokertest.Options{Cert: local.CertFile, Key: local.KeyFile})
	demanding := brokertest.StartMosquitto(t, brokertest.Options{Cert: local.CertFile, Key: local.KeyFile, Extra: "require_certificate true\ncafile " + local.CertFile})
	full := brokertest.StartMosquitto(t, brokertest.Options{Extra: "max_connections 1"})
	for range 4 { // it miscounts one that has come and gone
		c, err := net.Dial("tcp", full.Addr)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { c.Close() })
	}
	wsPort := proctest.FreePort(t)
	brokertest.StartMosquitto(t, brokertest.Options{Extra: fmt.Sprintf("listener %d 127.0.0.1\nprotocol websockets", wsPort)})
	web := httptest.NewServer(http.NotFoundHandler())
	t.Cleanup(web.Close)
	nobody, _ := net.Listen("tcp", "127.0.0.1:0")
	nobody.Close()
	const fine5 = "\x20\x03\x00\x00\x00"
	trusting := func(c *ingest.SourceConfig) { c.TLS = &tls.Config{RootCAs: local.Roots} }
	as := func(user, password string) func(*ingest.SourceConfig) {
		return func(c *ingest.SourceConfig) { c.User, c.Password = user, password }
	}
	for _, tt := range []struct {
		name, url string
		change    func(*ingest.SourceConfig)
		says      string
	}{
		{"plain to TLS", "tcp://" + secure.Addr, nil, "this port speaks TLS: write tls://" + secure.Addr},
		{"plain to TLS of a known authority", "tcp://" + strings.TrimPrefix(secure.URL, "tls://"), trusting, "this port speaks TLS: write tls://localhost:"},
		{"plain to TLS that wants a certificate", "tcp://" + strings.TrimPrefix(demanding.URL, "tls://"), trusting, "this port speaks TLS"},
		{"TLS to plain", "tls://" + plain.Addr, nil, "this port speaks no TLS: write tcp://" + plain.Addr},
		{"TLS to plain with users", "ssl://" + users.Addr, nil, "this port speaks no TLS: write tcp://" + users.Addr},
		{"TLS without the certificate that is asked", demanding.URL, trusting, "certificate"},
		{"MQTT 5 only, hanging up", "tcp://" + listens(t, connack("", fine5)), nil, "takes only MQTT 5"},
		{"MQTT 5 only, saying so in its own tongue", "tcp://" + listens(t, connack("\x20\x03\x00\x84\x00", fine5)), nil, "takes only MQTT 5"},
		{"MQTT 5 only, saying so in ours", "tcp://" + listens(t, connack("\x20\x02\x00\x01", fine5)), nil, "does not take MQTT 3.1.1"},
		{"full", full.URL, nil, "as many clients as it may"},
		{"full, and saying so", "tcp://" + listens(t, connack("\x20\x02\x00\x03", "")), nil, "as many clients as it may"},
		{"another id wanted", "tcp://" + listens(t, connack("\x20\x02\x00\x02", "")), nil, "refuses the client_id"},
		{"WebSockets by a broker", fmt.Sprintf("tcp://127.0.0.1:%d", wsPort), nil, "MQTT over WebSockets (ws://)"},
		{"a web server", "tcp://" + web.Listener.Addr().String(), nil, "for web pages or MQTT over WebSockets"},
		{"TLS to a web server", "tls://" + web.Listener.Addr().String(), nil, "for web pages or MQTT over WebSockets"},
		{"ws://", fmt.Sprintf("ws://127.0.0.1:%d", wsPort), nil, "by tcp:// (mostly port 1883) or tls:// (mostly 8883), not ws://"},
		{"wrong password", users.URL, as("bins", "s3cret"), "does not let this user in, or not with this password"},
		{"no user", users.URL, nil, "asks for a user and a password"},
		{"a password that is known to be wrong", "tcp://" + listens(t, connack("\x20\x02\x00\x04", "")), as("bins", "s3cret"), "does not know this user and password"},
		{"no such name", "tcp://no-broker.invalid:1883", nil, "no-broker.invalid"}, // RFC 2606, §2
		{"nobody there", "tcp://" + nobody.Addr().String(), nil, "no broker runs there"},
		{"something else", "tcp://" + listens(t, func(c net.Conn) { _, _ = io.WriteString(c, "220 ready\r\n") }), nil, "it is another program"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			_, h := source(t, plain, func(c *ingest.SourceConfig) {
				c.URLs = []string{tt.url}
				if tt.change != nil {
					tt.change(c)
				}
			})
			l := h.down()
			t.Log(l.Trouble)
			if !strings.Contains(l.Trouble, tt.says) || strings.Contains(l.Trouble, "s3cret") || strings.ContainsAny(l.Trouble, "\r\n") || strings.Contains(l.Trouble, "network Error") {
				t.Errorf("got %q, want one line that says %q and no secret", l.Trouble, tt.says)
			}
		})
	}
}
