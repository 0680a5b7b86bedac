package notify

import (
	"bytes"
	"context"
	"errors"
	"net/http"
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

// A Carried letter is what a test's server sees of one.
type Carried struct {
	Teller   string
	ID       string
	Matters  []CarriedMatter
	Pressing bool
	At       time.Time
}

// A CarriedMatter is one episode in a letter.
type CarriedMatter struct {
	Say      string // stands, lighter, over, cameWent, still
	Change   farm.Change
	Notice   string
	Before   []string // notices that go along
	Pressing bool
}

// Carry has a test's function take the letters of every teller in place of
// their servers: 0 accepts, 1 refuses, 2 is unreachable, 3 does not answer.
func Carry(s *Sender, take func(Carried) int) {
	for _, d := range s.desks {
		d.carrier = carrying{d.teller.Key, take}
	}
}

type carrying struct {
	teller string
	take   func(Carried) int
}

func (c carrying) carry(_ context.Context, l letter, now time.Time) answer {
	out := Carried{Teller: c.teller, ID: l.id, Pressing: l.pressing(), At: now}
	for _, m := range l.matters {
		cm := CarriedMatter{
			Say:    [...]string{"stands", "lighter", "over", "cameWent", "still"}[m.say],
			Change: m.last.Change, Pressing: m.pressing(),
		}
		cm.Notice = m.last.Notice
		for _, o := range m.before {
			cm.Before = append(cm.Before, o.Notice)
		}
		out.Matters = append(out.Matters, cm)
	}
	return answer{verdict: verdict(c.take(out)), said: "by a test"}
}

// SignatureOf signs a body as a webhook does.
func SignatureOf(secret, id string, now time.Time, body string) (string, error) {
	key, err := hookSecret(secret)
	if err != nil {
		return "", err
	}
	header := http.Header{}
	(&hook{secret: key}).sign(header, id, now, []byte(body))
	return header.Get("webhook-signature"), nil
}

// RoundsTurn lets the first rounds desk take one turn.
func RoundsTurn(ctx context.Context, s *Sender) (time.Duration, error) { return s.rounds[0].turn(ctx) }

// LifeTurn gives one sign of life.
func LifeTurn(ctx context.Context, s *Sender) { s.life.turn(ctx) }

// CarryOnce has the first teller's carrier make one attempt at a letter about a
// change: 0 accepted, 1 refused, 2 unreachable, 3 unanswered.
func CarryOnce(ctx context.Context, s *Sender, c farm.Change) (verdict int, said string) {
	l := newLetter([]matter{{say: stands, last: farm.Owed{Notice: NoticeID("once", c), Change: c}}})
	a := s.desks[0].carrier.carry(ctx, l, c.At)
	return int(a.verdict), a.said
}
