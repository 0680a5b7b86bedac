package notify

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/textproto"
	"strconv"
	"strings"
	"sync"
	"time"

	gomail "github.com/wneessen/go-mail"

	"binwatchd/internal/loopback"
)

const (
	smtpsPort = 465             // RFC 8314 §3.3: TLS from the first byte
	smtpSlow  = time.Minute     // a server may take so long over greeting, over sign-in, and over a mail
	smtpQuit  = 3 * time.Second // and so long over QUIT, when the mail is long accepted
)

// An office is the mail server, and how it is spoken to. Away from this
// machine nothing is said without TLS and a certificate that checks. On
// loopback TLS is used when it is offered, and its certificate is not looked
// at: nobody stands between, and what a mail server makes for itself at its
// installation proves nothing.
type office struct {
	host     string
	port     int
	user     string
	password string
	tls      *tls.Config
	policy   gomail.TLSPolicy
	direct   bool // TLS from the first byte
	patience time.Duration
}

func newOffice(m Mail, certTime func() time.Time) (office, error) {
	host, port, err := net.SplitHostPort(m.Server)
	if err != nil {
		return office{}, fmt.Errorf("mail server %q: it is written HOST:PORT", m.Server)
	}
	n, err := strconv.Atoi(port)
	if err != nil || n < 1 || n > 65535 {
		return office{}, fmt.Errorf("mail server %q: its port is a number", m.Server)
	}
	o := office{host: host, port: n, user: m.User, password: m.Password, policy: gomail.TLSMandatory, patience: m.Patience}
	if o.patience <= 0 {
		o.patience = smtpSlow
	}
	o.tls = &tls.Config{ServerName: host, RootCAs: m.Roots, MinVersion: tls.VersionTLS12, Time: certTime}
	o.secure(m.Security)
	o.tls.InsecureSkipVerify = loopback.Is(host) && m.Roots == nil
	return o, nil
}

// secure puts a kind of security in force; "" is by port and place.
func (o *office) secure(s Security) {
	switch {
	case s == TLS, s == "" && o.port == smtpsPort:
		o.direct = true
	case s == Offered, s == "" && loopback.Is(o.host):
		o.policy = gomail.TLSOpportunistic
	case s == Plain:
		o.policy = gomail.NoTLS
	}
}

// post hands a mail to the server.
func (o office) post(ctx context.Context, msg *gomail.Msg) answer {
	var line wire
	client, err := o.client(&line)
	if err != nil {
		return answer{verdict: unreachable, said: o.safe(err)}
	}
	defer line.close() // go-mail leaves the connection open when the greeting, STARTTLS or AUTH goes wrong
	defer context.AfterFunc(ctx, line.close)()
	talk, err := client.DialToSMTPClientWithContext(ctx)
	if err != nil {
		return answer{verdict: unreachable, said: o.safe(err)}
	}
	err = client.SendWithSMTPClient(talk, msg)
	if msg.IsDelivered() {
		_ = talk.UpdateDeadline(min(smtpQuit, o.patience))
		_ = client.CloseWithSMTPClient(talk) // accepted is accepted, however the goodbye goes
		return answer{verdict: accepted, said: oneLine(msg.ServerResponse(), 200)}
	}
	return o.failed(err)
}

// failed reads what went wrong after the greeting.
func (o office) failed(err error) answer {
	a := answer{verdict: unreachable, said: o.safe(err)}
	var send *gomail.SendError
	if !errors.As(err, &send) {
		return a
	}
	switch code := send.ErrorCode(); {
	case send.Reason == gomail.ErrSMTPDataClose && code == 0:
		a.verdict = unanswered // all of it was sent, and no answer came
	case send.Reason == gomail.ErrSMTPDataClose && code >= 500:
		a.verdict = refused // what this mail says is not liked
	}
	return a
}

// client makes a client for one conversation over its own connection.
func (o office) client(line *wire) (*gomail.Client, error) {
	opts := []gomail.Option{
		gomail.WithPort(o.port), gomail.WithTimeout(o.patience), gomail.WithTLSConfig(o.tls),
		gomail.WithTLSPolicy(o.policy), gomail.WithoutNoop(), gomail.WithoutRset(), gomail.WithHELO(helo()),
		gomail.WithDialContextFunc(func(ctx context.Context, network, addr string) (net.Conn, error) {
			return line.dial(ctx, network, addr, o)
		}),
	}
	if o.direct {
		opts = append(opts, gomail.WithSSL())
	}
	if o.user != "" {
		opts = append(opts, gomail.WithUsername(o.user), gomail.WithPassword(o.password), o.auth())
	}
	c, err := gomail.NewClient(o.host, opts...)
	if err != nil {
		return nil, fmt.Errorf("mail server: %w", err)
	}
	return c, nil
}

// auth prefers what does not show the password to the server. Away from this
// machine the others are only used under TLS; go-mail sees to that, too.
func (o office) auth() gomail.Option {
	mechs := []gomail.SMTPAuthType{gomail.SMTPAuthSCRAMSHA256, gomail.SMTPAuthSCRAMSHA1, gomail.SMTPAuthPlain, gomail.SMTPAuthLogin}
	if loopback.Is(o.host) {
		mechs = append(mechs, gomail.SMTPAuthPlainNoEnc, gomail.SMTPAuthLoginNoEnc)
	}
	return gomail.WithOpportunisticSMTPAuth(mechs...)
}

// safe makes an error fit to be shown: one line, and no password in it, should
// a server repeat it.
func (o office) safe(err error) string {
	said := err.Error()
	var p *textproto.Error
	if errors.As(err, &p) {
		said = fmt.Sprintf("%d %s", p.Code, p.Msg)
	}
	if o.password != "" {
		said = strings.ReplaceAll(said, o.password, "(password)")
	}
	return oneLine(said, 300)
}

// helo is a name for the greeting that gives away nothing of the house.
func helo() string { return "binwatchd.localdomain" }

// A wire is the connection under a conversation, so that it can be cut.
type wire struct {
	mu   sync.Mutex
	conn net.Conn
	cut  bool
}

func (w *wire) dial(ctx context.Context, network, addr string, o office) (net.Conn, error) {
	var conn net.Conn
	var err error
	plain := &net.Dialer{Timeout: o.patience}
	if o.direct {
		conn, err = (&tls.Dialer{NetDialer: plain, Config: o.tls}).DialContext(ctx, network, addr)
	} else {
		conn, err = plain.DialContext(ctx, network, addr)
	}
	if err != nil {
		return nil, err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.cut {
		conn.Close()
		return nil, net.ErrClosed
	}
	w.conn = conn
	return conn, nil
}

func (w *wire) close() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.cut = true
	if w.conn != nil {
		_ = w.conn.Close()
	}
}
