package ingest

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"strings"
	"syscall"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// errNewer is an answer that only MQTT 5 knows, to somebody who has asked for 3.1.1.
var errNewer = errors.New("the broker takes only MQTT 5, and binwatchd speaks 3.1.1, which most brokers take beside it: allow it in the broker's settings, or use another broker")

// why says in one line why a broker could not be had, and what to write instead.
// What the broker does not say itself is found out by asking in other ways, if there
// was a connection (met).
func (s *Source) why(ctx context.Context, u *url.URL, err error, met bool) error {
	var dns *net.DNSError
	var stranger *tls.CertificateVerificationError
	var op *net.OpError
	user := s.cfg.User != "" || u.User != nil
	switch {
	case ctx.Err() != nil:
		return err
	case errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword):
		return errors.New("the broker does not know this user and password")
	case errors.Is(err, packets.ErrorRefusedNotAuthorised) && !user:
		return errors.New("the broker asks for a user and a password")
	case errors.Is(err, packets.ErrorRefusedNotAuthorised):
		return errors.New("the broker does not let this user in, or not with this password")
	case errors.Is(err, packets.ErrorRefusedBadProtocolVersion):
		return errors.New("the broker does not take MQTT 3.1.1, which is what binwatchd speaks: allow it in the broker's settings")
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return fmt.Errorf("the broker refuses the client_id %q: give it another", s.cfg.ClientID)
	case errors.Is(err, packets.ErrorRefusedServerUnavailable):
		return errors.New("the broker says that it takes nobody now: it starts or stops, or has as many clients as it may")
	case errors.Is(err, errNewer):
		return errNewer
	case errors.As(err, &dns) && dns.IsNotFound:
		return fmt.Errorf("no machine is known by the name %s: see how it is written, or write its IP address", dns.Name)
	case errors.As(err, &dns):
		return fmt.Errorf("the name %s can't be looked up (%s): see whether the network is there, or write its IP address", dns.Name, dns.Err)
	case errors.As(err, &stranger):
		return fmt.Errorf("the broker's certificate is not accepted: %w", stranger.Err)
	case errors.Is(err, syscall.ECONNREFUSED):
		return errors.New("connection refused: no broker runs there, or it listens at another port (1883 is usual, 8883 with TLS) or only to its own machine")
	case errors.Is(err, syscall.EHOSTUNREACH), errors.Is(err, syscall.ENETUNREACH):
		return errors.New("there is no way to this machine: see its address, and whether it is on and in the same network")
	case errors.As(err, &op) && op.Op == "dial" && op.Timeout():
		return errors.New("no answer from this machine: see its address, whether it is on, and whether a firewall stands between")
	case errors.As(err, &op) && op.Op == remoteError:
		return fmt.Errorf("the broker breaks off TLS (%w): see which certificates it wants, and tls: {ca, cert, key}", op)
	case met || isUnasked(err):
		return cmp.Or(s.asked(ctx, u), err)
	}
	return plainer(err)
}

// isUnasked tells whether a connection ended, or began, in a way that says nothing
// of the reason: hung up, silent, or not in our language.
func isUnasked(err error) bool {
	return errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, syscall.ECONNRESET) || errors.Is(err, syscall.EPIPE) ||
		errors.Is(err, os.ErrDeadlineExceeded) || errors.Is(err, context.DeadlineExceeded) || errors.As(err, new(tls.RecordHeaderError))
}

// askTime is how long one question may take.
const askTime = 3 * time.Second

// Greetings by which it is told what listens at a port: a CONNECT with no id and a
// clean session of MQTT 3.1.1 (§3.1) and of MQTT 5 (§3.1), and the request for a
// WebSocket (RFC 6455, §1.3), which any web server answers somehow.
const (
	greeting311  = "\x10\x0c\x00\x04MQTT\x04\x02\x00\x05\x00\x00"
	greeting5    = "\x10\x0d\x00\x04MQTT\x05\x02\x00\x05\x00\x00\x00"
	greetingHTTP = "GET /mqtt HTTP/1.1\r\nHost: broker\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n" +
		"Sec-WebSocket-Key: YmlucyBhbmQgd29ybXMgIQ==\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Protocol: mqtt\r\n\r\n"

	answerMQTT = "\x20" // CONNACK, whatever it says
	answerHTTP = "HTTP/"
)

// asked finds out what listens at an address that has not answered as a broker; nil
// when all it does is to hang up or to be silent in another way than is known.
func (s *Source) asked(ctx context.Context, u *url.URL) error {
	secure := strings.HasSuffix(u.Scheme, "s") || strings.HasPrefix(u.Scheme, "tls") || u.Scheme == "ssl"
	other := *u
	other.User = nil
	switch {
	case secure && s.answers(ctx, u, "tcp", greeting311, answerMQTT):
		other.Scheme = "tcp"
		return fmt.Errorf("this port speaks no TLS: write %s, or the port with TLS, which is mostly 8883", other.String())
	case !secure && s.speaksTLS(ctx, u):
		other.Scheme = "tls"
		return fmt.Errorf("this port speaks TLS: write %s, or the port without, which is mostly 1883", other.String())
	case s.answers(ctx, u, u.Scheme, greetingHTTP, answerHTTP), secure && s.answers(ctx, u, "tcp", greetingHTTP, answerHTTP):
		return errors.New("this port is for web pages or MQTT over WebSockets (ws://), which binwatchd does not speak: write the broker's tcp:// port, which is mostly 1883")
	case s.answers(ctx, u, u.Scheme, greeting5, answerMQTT):
		return errNewer
	case s.answers(ctx, u, u.Scheme, "", ""):
		return errors.New("it hangs up without a word: it has as many clients as it may, or does not take this machine (its log says so), or is no MQTT broker")
	}
	return errors.New("it takes the connection and does not answer as a broker does: it is another program, or it hangs")
}

// answers tells whether a greeting at an address is answered so; with an empty answer, whether
// it hangs up instead of waiting.
func (s *Source) answers(ctx context.Context, u *url.URL, scheme, greeting, answer string) bool {
	ctx, cancel := context.WithTimeout(ctx, askTime)
	defer cancel()
	to := *u
	to.Scheme = scheme
	c, err := s.dial(ctx, &to)
	if err != nil {
		return false
	}
	defer c.Close()
	defer context.AfterFunc(ctx, func() { c.Close() })()
	if _, err := io.WriteString(c, greeting); err != nil {
		return answer == ""
	}
	got := make([]byte, max(len(answer), 1))
	_, err = io.ReadFull(c, got)
	if answer == "" {
		return err != nil && ctx.Err() == nil
	}
	return err == nil && string(got) == answer
}

// speaksTLS tells whether a handshake gets as far as the other side's certificate.
func (s *Source) speaksTLS(ctx context.Context, u *url.URL) bool {
	ctx, cancel := context.WithTimeout(ctx, askTime)
	defer cancel()
	to := *u
	to.Scheme = "tls"
	c, err := s.dial(ctx, &to)
	if err == nil {
		c.Close()
		return true
	}
	var op *net.OpError
	return errors.As(err, new(*tls.CertificateVerificationError)) || errors.As(err, &op) && op.Op == remoteError
}
