package notify

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/textproto"
	"slices"
	"strconv"
	"strings"
	"time"

	gomail "github.com/wneessen/go-mail"

	"binwatchd/internal/loopback"
)

const (
	smtpsPort = 465             // RFC 8314 §3.3: TLS from the first byte
	smtpSlow  = time.Minute     // a server may take so long over greeting, over sign-in, and over a mail
	smtpQuit  = 3 * time.Second // and so long over QUIT, when the mail is long accepted
)

// An smtpClient holds the mail server's address, the account, and the TLS policy.
// Away from this machine nothing is said without TLS and a certificate that
// checks. On loopback TLS is used when it is offered, and its certificate is not
// looked at: nobody stands between, and what a mail server makes for itself at
// its installation proves nothing.
type smtpClient struct {
	host     string
	password string // never shown
	patience time.Duration
	dial     gomail.DialContextFunc // speaks TLS from the first byte, where the server does
	options  []gomail.Option
}

func newSMTPClient(m Mail, certTime func() time.Time) (*smtpClient, error) {
	host, digits, err := net.SplitHostPort(m.Server)
	if err != nil {
		return nil, fmt.Errorf("mail server %q: it is written HOST:PORT", m.Server)
	}
	port, err := strconv.Atoi(digits)
	if err != nil || port < 1 || port > 65535 {
		return nil, fmt.Errorf("mail server %q: its port is a number", m.Server)
	}
	c := &smtpClient{host: host, password: m.Password, patience: cmp.Or(m.Patience, smtpSlow)}
	dialer := &net.Dialer{Timeout: c.patience}
	c.dial = dialer.DialContext
	secure := &tls.Config{
		ServerName: host, RootCAs: m.Roots, MinVersion: tls.VersionTLS12, Time: certTime,
		InsecureSkipVerify: loopback.Is(host) && m.Roots == nil,
	}
	c.options = []gomail.Option{
		gomail.WithPort(port), gomail.WithTimeout(c.patience), gomail.WithTLSConfig(secure),
		gomail.WithoutNoop(), gomail.WithoutRset(),
		gomail.WithHELO("binwatchd.localdomain"), // gives away nothing of the house
	}
	policy := gomail.TLSMandatory
	switch s := m.Security; { // "" is by port and place
	case s == TLS, s == "" && port == smtpsPort:
		c.dial = (&tls.Dialer{NetDialer: dialer, Config: secure}).DialContext
		c.options = append(c.options, gomail.WithSSL())
	case s == Offered, s == "" && loopback.Is(host):
		policy = gomail.TLSOpportunistic
	case s == Plain:
		policy = gomail.NoTLS
	}
	c.options = append(c.options, gomail.WithTLSPolicy(policy))
	if m.User != "" {
		// What does not show the password to the server comes first. Away from this
		// machine the others are only used under TLS; go-mail sees to that, too.
		mechs := []gomail.SMTPAuthType{gomail.SMTPAuthSCRAMSHA256, gomail.SMTPAuthSCRAMSHA1, gomail.SMTPAuthPlain, gomail.SMTPAuthLogin}
		if loopback.Is(host) {
			mechs = append(mechs, gomail.SMTPAuthPlainNoEnc, gomail.SMTPAuthLoginNoEnc)
		}
		c.options = append(c.options, gomail.WithUsername(m.User), gomail.WithPassword(m.Password), gomail.WithOpportunisticSMTPAuth(mechs...))
	}
	return c, nil
}

// post hands a mail to the server, over a connection of its own, which ends with
// ctx or the conversation: go-mail leaves it open when the greeting, STARTTLS or
// AUTH goes wrong.
func (c *smtpClient) post(ctx context.Context, msg *gomail.Msg) reply {
	ctx, cut := context.WithCancel(ctx)
	defer cut()
	dial := func(dialing context.Context, network, addr string) (net.Conn, error) {
		conn, err := c.dial(dialing, network, addr)
		if err == nil {
			context.AfterFunc(ctx, func() { _ = conn.Close() })
		}
		return conn, err
	}
	client, err := gomail.NewClient(c.host, append(slices.Clip(c.options), gomail.WithDialContextFunc(dial))...)
	if err != nil {
		return c.failed(fmt.Errorf("mail server: %w", err))
	}
	talk, err := client.DialToSMTPClientWithContext(ctx)
	if err != nil {
		return reply{outcome: unreachable, said: c.safe(err)}
	}
	err = client.SendWithSMTPClient(talk, msg)
	if !msg.IsDelivered() {
		return c.failed(err)
	}
	_ = talk.UpdateDeadline(min(smtpQuit, c.patience))
	_ = client.CloseWithSMTPClient(talk) // accepted is accepted, however the goodbye goes
	return reply{outcome: accepted, said: oneLine(msg.ServerResponse(), 200)}
}

// failed reads what went wrong after the greeting.
func (c *smtpClient) failed(err error) reply {
	r := reply{outcome: unreachable, said: c.safe(err)}
	var send *gomail.SendError
	if !errors.As(err, &send) || send.Reason != gomail.ErrSMTPDataClose {
		return r
	}
	switch code := send.ErrorCode(); {
	case code == 0:
		r.outcome = unanswered // all of it was sent, and no answer came
	case code >= 500:
		r.outcome = refused // what this mail says is not liked
	}
	return r
}

// safe makes an error fit to be shown: one line, and no password in it, should
// a server repeat it.
func (c *smtpClient) safe(err error) string {
	said := err.Error()
	var p *textproto.Error
	if errors.As(err, &p) {
		said = fmt.Sprintf("%d %s", p.Code, p.Msg)
	}
	if c.password != "" {
		said = strings.ReplaceAll(said, c.password, "(password)")
	}
	return oneLine(said, 300)
}
