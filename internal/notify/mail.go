package notify

import (
	"bytes"
	"context"
	"fmt"
	"net/mail"
	"strings"
	"time"

	gomail "github.com/wneessen/go-mail"
)

// A mailer makes mails of letters and posts them to one address.
type mailer struct {
	cfg    Config
	src    Sources
	to     string
	office office
}

func newMailer(cfg Config, src Sources, to string) (*mailer, error) {
	o, err := newOffice(cfg.Mail, cfg.CertTime)
	if err != nil {
		return nil, err
	}
	m := &mailer{cfg: cfg, src: src, to: to, office: o}
	if _, err := m.message(sheet{Subject: "check"}, envelope{id: "check"}); err != nil {
		return nil, err
	}
	return m, nil
}

func (m *mailer) carry(ctx context.Context, l letter, now time.Time) answer {
	w := newWriter(m.cfg, m.src, now)
	return m.post(ctx, w.sheet(ctx, l), envelopeOf(l, now))
}

// post sends a sheet in an envelope.
func (m *mailer) post(ctx context.Context, s sheet, e envelope) answer {
	msg, err := m.message(s, e)
	if err != nil {
		return answer{verdict: refused, said: err.Error()}
	}
	return m.office.post(ctx, msg)
}

// An envelope is what a mail bears besides what it says.
type envelope struct {
	id     string   // of the Message-ID, without the domain
	reply  string   // id of the mail it follows; "": none, or several
	thread []string // ids of what it follows, oldest first
	date   time.Time
}

// envelopeOf gives a letter its place in the threads of its episodes. A mail's
// Message-ID is that of its first matter's notice. Others that it tells of have
// notices of their own, which no mail bears; it names them all the same, so
// that a later mail about one of those episodes is put beside this one.
func envelopeOf(l letter, now time.Time) envelope {
	e := envelope{id: l.id, date: now}
	if told := l.matters[0].told; len(l.matters) == 1 && len(told) > 0 {
		e.reply = told[len(told)-1].Notice
	}
	for i, m := range l.matters {
		for j, o := range m.told {
			if j == 0 || j >= len(m.told)-3 {
				e.thread = append(e.thread, o.Notice)
			}
		}
		for _, o := range m.before {
			e.thread = append(e.thread, o.Notice)
		}
		if i > 0 {
			e.thread = append(e.thread, m.last.Notice)
		}
	}
	return e
}

// message makes the mail.
func (m *mailer) message(s sheet, e envelope) (*gomail.Msg, error) {
	msg := gomail.NewMsg(gomail.WithEncoding(gomail.EncodingQP), gomail.WithNoDefaultUserAgent())
	from, err := m.sender()
	if err != nil {
		return nil, err
	}
	msg.FromMailAddress(from)
	if err := msg.To(m.to); err != nil {
		return nil, fmt.Errorf("recipient's address: %w", err)
	}
	msg.Subject(oneLine(s.Subject, 200))
	msg.SetDateWithValue(e.date.In(m.cfg.Farm.Location))
	m.identify(msg, e)
	msg.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834: no out-of-office comes back
	msg.SetBodyString(gomail.TypeTextPlain, s.text())
	html, err := s.html()
	if err != nil {
		return nil, fmt.Errorf("write html: %w", err)
	}
	msg.AddAlternativeString(gomail.TypeTextHTML, html)
	for _, p := range s.pictures() {
		if err := msg.EmbedReader(p.Name, bytes.NewReader(p.PNG), gomail.WithFileContentType("image/png")); err != nil {
			return nil, fmt.Errorf("embed picture: %w", err)
		}
	}
	return msg, nil
}

// sender is the farm by name at its address. The name goes through net/mail,
// which quotes and encodes it; go-mail's own FromFormat does not. A backslash
// beside letters that need encoding is the one thing net/mail gets wrong.
func (m *mailer) sender() (*mail.Address, error) {
	from, err := mail.ParseAddress(m.cfg.Mail.From)
	if err != nil {
		return nil, fmt.Errorf("sender's address: %w", err)
	}
	if from.Name == "" {
		from.Name = strings.ReplaceAll(oneLine(m.cfg.Farm.Name, 60), `\`, "/")
	}
	return from, nil
}

// identify sets Message-ID, In-Reply-To and References (RFC 5322 §3.6.4).
func (m *mailer) identify(msg *gomail.Msg, e envelope) {
	domain := m.domain()
	msg.SetMessageIDWithValue(e.id + "@" + domain)
	if e.reply != "" {
		msg.SetGenHeader(gomail.HeaderInReplyTo, "<"+e.reply+"@"+domain+">")
	}
	if len(e.thread) == 0 {
		return
	}
	var ids []string
	for _, id := range e.thread {
		ids = append(ids, "<"+id+"@"+domain+">")
	}
	msg.SetGenHeader(gomail.HeaderReferences, strings.Join(ids, " "))
}

// domain is that of the sender's address.
func (m *mailer) domain() string {
	_, domain, ok := strings.Cut(m.cfg.Mail.From, "@")
	if domain = strings.Trim(domain, "<> "); !ok || domain == "" {
		return "localhost"
	}
	return domain
}
