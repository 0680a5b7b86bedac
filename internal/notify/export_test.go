package notify

import (
	"bytes"
	"context"
	"errors"
	"time"

	"binwatchd/internal/farm"
)

// MailOf makes the mail that the first teller would get of what is owed, as
// it would go over the wire.
func MailOf(cfg Config, src Sources, owed []farm.Owed, told map[string][]farm.Owed, now time.Time) ([]byte, error) {
	cfg = cfg.settled()
	c := deskCase{teller: cfg.Tellers[0], now: now, owed: owed, told: told, cap: cfg.CapPerHour, loc: cfg.Farm.Location}
	if src.Look != nil {
		c.view, c.known = src.Look()
	}
	p := decide(c)
	if len(p.letters) != 1 {
		return nil, errors.New("not one letter")
	}
	m, err := newMailer(cfg, src, cfg.Tellers[0].To)
	if err != nil {
		return nil, err
	}
	l := p.letters[0]
	sh := newWriter(cfg, src, now).sheet(context.Background(), l)
	return raw(m, sh, envelopeOf(l, now))
}

// RoundsMailOf makes the mail of a care list.
func RoundsMailOf(cfg Config, src Sources, r farm.Rounds, now time.Time) ([]byte, error) {
	cfg = cfg.settled()
	m, err := newMailer(cfg, src, "keeper@example.org")
	if err != nil {
		return nil, err
	}
	return raw(m, newWriter(cfg, src, now).rounds(context.Background(), r), envelope{id: "rounds", date: now})
}

func raw(m *mailer, s sheet, e envelope) ([]byte, error) {
	msg, err := m.message(s, e)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	_, err = msg.WriteTo(&b)
	return b.Bytes(), err
}

// ShortOf makes the push of what is owed.
func ShortOf(cfg Config, src Sources, owed []farm.Owed, now time.Time) string {
	cfg = cfg.settled()
	c := deskCase{teller: Teller{Kind: ByPush, About: allUrgencies}, now: now, owed: owed, loc: cfg.Farm.Location, cap: 1}
	return newWriter(cfg, src, now).short(decide(c).letters[0])
}

var allUrgencies = []farm.Urgency{farm.Now, farm.Today, farm.Soon}
