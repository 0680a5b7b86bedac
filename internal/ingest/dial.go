package ingest

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/url"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

// writeTime is how long one packet may take to go out. The client library
// bounds only what it publishes, so an acknowledgement to a broker that has
// stopped reading would wait for the kernel to give up, a quarter of an hour.
const writeTime = 10 * time.Second

// dialer opens connections for the client library, so that stopping ends a
// dial and a handshake, and so that no write lasts for ever. Once the broker
// has answered, ss.shaken lets the connection outlive the context, for a
// parting word.
func (s *Source) dialer(ctx context.Context, ss *session) mqtt.OpenConnectionFunc {
	return func(u *url.URL, _ mqtt.ClientOptions) (net.Conn, error) {
		dialing, cancel := context.WithTimeout(ctx, handshakeTime)
		defer cancel()
		c, err := s.dial(dialing, u)
		if err != nil {
			return nil, err
		}
		ss.shaken = context.AfterFunc(ctx, func() { c.Close() })
		ss.wire = newWire(c, ss.hold, ss.lose)
		return ss.wire, nil
	}
}

func (s *Source) dial(ctx context.Context, u *url.URL) (net.Conn, error) {
	plain := &net.Dialer{Timeout: handshakeTime, KeepAlive: keepAlive}
	switch u.Scheme {
	case "tcp", "mqtt":
		return plain.DialContext(ctx, "tcp", withPort(u, "1883"))
	case "tls", "ssl", "mqtts":
		secure := &tls.Dialer{NetDialer: plain, Config: s.cfg.TLS}
		return secure.DialContext(ctx, "tcp", withPort(u, "8883"))
	}
	return nil, fmt.Errorf("a broker is reached by tcp:// or tls://, not %s://", u.Scheme)
}

// withPort gives the address in a URL, with the usual port if it names none.
func withPort(u *url.URL, usual string) string {
	if u.Port() != "" {
		return u.Host
	}
	return net.JoinHostPort(u.Hostname(), usual)
}

// bounded is a connection on which no write lasts longer than writeTime.
type bounded struct{ net.Conn }

func (b bounded) Write(p []byte) (int, error) {
	if err := b.SetWriteDeadline(time.Now().Add(writeTime)); err != nil {
		return 0, err
	}
	return b.Conn.Write(p)
}

// unreadable tells of a URL that can't be read without quoting it: it may hold
// a password.
func unreadable(i int, err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		err = u.Err
	}
	return fmt.Errorf("broker url %d: %w", i+1, err)
}

// plainer turns the library's words for a failed connection into the reason.
func plainer(err error) error {
	switch {
	case errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword):
		return errors.New("the broker does not know this user and password")
	case errors.Is(err, packets.ErrorRefusedNotAuthorised):
		return errors.New("the broker does not let this user in, or not with this password")
	}
	var stranger *tls.CertificateVerificationError
	if errors.As(err, &stranger) {
		return fmt.Errorf("the broker's certificate is not accepted: %w", stranger.Err)
	}
	var op *net.OpError
	if errors.As(err, &op) {
		return op
	}
	return err
}

func troubleOf(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}
