package notify

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/mail"
	"strings"
	"time"

	gomail "github.com/wneessen/go-mail"
)

// A mailer makes mails of bundles and posts them to one address.
type mailer struct {
	cfg    Config
	to     string
	who    string // name of the person whose address it is; "": it is not known
	client *smtpClient
}

func newMailer(cfg Config, to string) (*mailer, error) {
	client, err := newSMTPClient(cfg.Mail, cfg.CertTime)
	if err != nil {
		return nil, err
	}
	m := &mailer{cfg: cfg, to: to, client: client}
	_, err = m.message(content{Subject: "check"}, envelope{id: "check"})
	return m, err
}

func (m *mailer) send(ctx context.Context, b bundle, w writer) reply {
	w.to = m.reader()
	return m.post(ctx, w.content(ctx, b), envelopeOf(b, w.now))
}

// reader names whom the mails go to.
func (m *mailer) reader() string { return cmp.Or(m.who, m.to) }

// post sends a content in an envelope.
func (m *mailer) post(ctx context.Context, c content, e envelope) reply {
	msg, err := m.message(c, e)
	if err != nil {
		return reply{outcome: refused, said: err.Error()}
	}
	return m.client.post(ctx, msg)
}

// An envelope is what a mail bears besides what it says.
type envelope struct {
	id     string   // of the Message-ID, without the domain
	reply  string   // id of the mail it follows; "": none, or several
	thread []string // ids of what it follows, oldest first
	date   time.Time
}

// envelopeOf gives a bundle its place in the threads of its episodes. A mail's
// Message-ID is that of its first item's notice. Others that it tells of have
// notices of their own, which no mail bears; it names them all the same, so
// that a later mail about one of those episodes is put beside this one.
func envelopeOf(b bundle, now time.Time) envelope {
	e := envelope{id: b.id, date: now}
	if told := b.items[0].told; len(b.items) == 1 && len(told) > 0 {
		e.reply = told[len(told)-1].Notice
	}
	for i, it := range b.items {
		for j, o := range it.told {
			if j == 0 || j >= len(it.told)-3 {
				e.thread = append(e.thread, o.Notice)
			}
		}
		for _, o := range it.before {
			e.thread = append(e.thread, o.Notice)
		}
		if i > 0 {
			e.thread = append(e.thread, it.last.Notice)
		}
	}
	return e
}

// message makes the mail.
func (m *mailer) message(c content, e envelope) (*gomail.Msg, error) {
	msg := gomail.NewMsg(gomail.WithEncoding(gomail.EncodingQP), gomail.WithNoDefaultUserAgent())
	from, err := mail.ParseAddress(m.cfg.Mail.From)
	if err != nil {
		return nil, fmt.Errorf("sender's address: %w", err)
	}
	if from.Name == "" {
		// It goes through net/mail, which quotes and encodes it; go-mail's own
		// FromFormat does not. A backslash beside letters that need encoding is the
		// one thing net/mail gets wrong.
		from.Name = strings.ReplaceAll(oneLine(m.cfg.Farm.Name, 60), `\`, "/")
	}
	msg.FromMailAddress(from)
	if err := msg.To(m.to); err != nil {
		return nil, fmt.Errorf("recipient's address: %w", err)
	}
	msg.Subject(oneLine(c.Subject, 200))
	msg.SetDateWithValue(e.date.In(m.cfg.Farm.Location))
	m.identify(msg, e)
	msg.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834: no out-of-office comes back
	var text, html bytes.Buffer
	if err := errors.Join(textTemplate.Execute(&text, c), htmlTemplate.Execute(&html, c)); err != nil {
		return nil, fmt.Errorf("write mail: %w", err)
	}
	msg.SetBodyString(gomail.TypeTextPlain, text.String())
	msg.AddAlternativeString(gomail.TypeTextHTML, html.String())
	for _, part := range c.Parts {
		for _, p := range part.Pictures {
			if err := msg.EmbedReader(p.Name, bytes.NewReader(p.PNG), gomail.WithFileContentType("image/png")); err != nil {
				return nil, fmt.Errorf("embed picture: %w", err)
			}
		}
	}
	return msg, nil
}

// identify sets Message-ID, In-Reply-To and References (RFC 5322 §3.6.4), all of
// the domain of the sender's address.
func (m *mailer) identify(msg *gomail.Msg, e envelope) {
	_, domain, _ := strings.Cut(m.cfg.Mail.From, "@")
	domain = cmp.Or(strings.Trim(domain, "<> "), "localhost")
	msg.SetMessageIDWithValue(e.id + "@" + domain)
	if e.reply != "" {
		msg.SetGenHeader(gomail.HeaderInReplyTo, "<"+e.reply+"@"+domain+">")
	}
	if len(e.thread) > 0 {
		msg.SetGenHeader(gomail.HeaderReferences, "<"+strings.Join(e.thread, "@"+domain+"> <")+"@"+domain+">")
	}
}
