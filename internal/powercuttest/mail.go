package main

import (
	"io"
	"net/mail"
	"strings"

	"github.com/emersion/go-smtp"
)

// A letter is one session of the mail server at which notices come in by mail.
type letter struct{ ledger *ledger }

func (l letter) Mail(string, *smtp.MailOptions) error { return nil }
func (l letter) Rcpt(string, *smtp.RcptOptions) error { return nil }
func (l letter) Reset()                               {}
func (l letter) Logout() error                        { return nil }

// Data notes a mail under its Message-ID, which is a notice's, with those of the
// others that it tells of.
func (l letter) Data(r io.Reader) error {
	m, err := mail.ReadMessage(r)
	if err != nil {
		return err
	}
	if l.ledger.away.Load() {
		return io.ErrUnexpectedEOF
	}
	ids := func(header string) (all []string) {
		for _, id := range strings.Fields(m.Header.Get(header)) {
			id, _, _ = strings.Cut(strings.TrimPrefix(id, "<"), "@")
			all = append(all, id)
		}
		return all
	}
	l.ledger.hears(telling{ID: strings.Join(ids("Message-ID"), ""), Also: ids("References")})
	return nil
}
